"""A body, a flat and a report about each, made from the data model alone: no reader, no measurement.

The parts are of the stream-level gauge: a block with a thin web of the sensor housing, and a plate of the mast bracket.
"""

from __future__ import annotations

import itertools

import numpy as np

from lintsvc.model.body import Body
from lintsvc.model.choices import Assumed
from lintsvc.model.finding import Finding, LimitShown, NotChecked, Quantity, Where
from lintsvc.model.part import Part, ReadNote
from lintsvc.model.report import (
    BendShown,
    HoleShown,
    PartReport,
    PartShown,
    Report,
    Seconds,
    UnitsShown,
    UnreadableShown,
)
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Polyline, Sheet
from lintsvc.model.source import COMMON_PRACTICE, Source
from lintsvc.model.units import Units

HANDBOOK = Source("handbook", "Design notes for powder-bed nylon, table of walls", checked="2026-01-15")
STATED = Units("mm", True, "the file says so")
DOUBTFUL = Units("mm", False, "STL states no unit; mm is usual", other="in", other_size_mm=(1016.0, 762.0, 304.8))

_CUBE_CORNERS = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
_CUBE_FACES = np.array(
    [
        [0, 2, 3],
        [0, 3, 1],
        [4, 5, 7],
        [4, 7, 6],
        [0, 1, 5],
        [0, 5, 4],
        [2, 6, 7],
        [2, 7, 3],
        [0, 4, 6],
        [0, 6, 2],
        [1, 3, 7],
        [1, 7, 5],
    ],
    dtype=np.int32,
)


def housing_part(name: str = "housing.stl") -> Part:
    """A 40 × 30 × 12 mm block, 12 triangles, its corner at (5, 5, 0)."""
    vertices = _CUBE_CORNERS * (40.0, 30.0, 12.0) + (5.0, 5.0, 0.0)
    return Part(name, "ab" * 32, "STL", "body", DOUBTFUL, (40.0, 30.0, 12.0), body=Body(vertices, _CUBE_FACES))


def bracket_part(name: str = "bracket.dxf") -> Part:
    """A 100 × 60 mm plate with a 4.2 mm hole, a slot, a bend line and an engraved curve."""
    slot = (
        Line((60.0, 25.0), (80.0, 25.0)),
        Arc((80.0, 30.0), 5.0, -90.0, 90.0),
        Line((80.0, 35.0), (60.0, 35.0)),
        Arc((60.0, 30.0), 5.0, 90.0, 270.0),
    )
    edges = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0), (0.0, 0.0)]
    outline = tuple(Line(a, b) for a, b in itertools.pairwise(edges))
    entities = (
        Entity(0, "2A", "lwpolyline", "CUT", outline),
        Entity(1, "2B", "circle", "CUT", (Circle((20.0, 30.0), 2.1),)),
        Entity(2, "2C", "lwpolyline", "CUT", slot),
        Entity(3, "2D", "line", "BEND", (Line((40.0, 0.0), (40.0, 60.0)),), role="bend"),
        Entity(4, "2E", "spline", "ENGRAVE", (Polyline(((5.0, 5.0), (10.0, 8.0), (15.0, 5.0))),), role="engrave"),
    )
    sheet = Sheet(entities, chord_tolerance_mm=0.01)
    notes = (ReadNote("ignored", "1 text was ignored: it is not outlines"),)
    return Part(name, "cd" * 32, "DXF", "sheet", STATED, (100.0, 60.0, 0.0), sheet=sheet, notes=notes)


def thin_wall(**changes: object) -> Finding:
    """A finding on faces 0 and 1 of the housing."""
    values: dict[str, object] = {
        "fingerprint": "00112233445566aa",
        "rule": "powder-bed/thin-wall",
        "level": "error",
        "rank": 85.3,
        "message": "A wall is 0.62 mm thick; 0.8 mm is the least.",
        "measured": Quantity(0.62, "mm"),
        "limit": LimitShown(0.8, "mm", HANDBOOK),
        "where": Where(
            (25.0, 20.0, 0.0),
            ((5.0, 5.0, 0.0), (45.0, 35.0, 0.0)),
            faces=(0, 1),
            span=((25.0, 20.0, 0.0), (25.0, 20.0, 0.62)),
        ),
        "remedy": "Make the wall at least 0.8 mm thick.",
        "caution": "Fine powder: keep it out of eyes and lungs.",
    }
    return Finding(**(values | changes))  # type: ignore[arg-type]


def open_edge() -> Finding:
    """A finding with an edge and no faces."""
    edge = ((5.0, 5.0, 12.0), (45.0, 5.0, 12.0))
    return Finding(
        "8899aabbccddeeff",
        "soundness/open-edge",
        "warning",
        52.5,
        "An edge is open over 40 mm.",
        Quantity(40.0, "mm"),
        None,
        Where((25.0, 5.0, 12.0), edge, lines=(edge,)),
        "Close the surface there.",
    )


def small_hole() -> Finding:
    """A finding on the bracket's hole."""
    box = ((17.9, 27.9, 0.0), (22.1, 32.1, 0.0))
    span = ((17.9, 30.0, 0.0), (22.1, 30.0, 0.0))
    return Finding(
        "0123456789abcdef",
        "sheet/hole-too-small",
        "warning",
        61.0,
        "The hole is 4.2 mm across.",
        Quantity(4.2, "mm"),
        LimitShown(5.0, "mm", COMMON_PRACTICE),
        Where((20.0, 30.0, 0.0), box, entities=(1,), span=span),
        "Open the hole to 5 mm, or drill it after cutting.",
        sure=0.9,
    )


def housing_report(*findings: Finding, file: str = "housing.stl") -> PartReport:
    """The entry of the housing, by default with two findings and one rule not checked."""
    part = PartShown(
        "body",
        UnitsShown("mm", False, DOUBTFUL.why, "in", (1016.0, 762.0, 304.8)),
        (40.0, 30.0, 12.0),
        volume_mm3=14400.0,
        area_mm2=4080.0,
        mass_g=14.544,
        triangles=12,
        bodies=1,
        watertight=True,
    )
    return PartReport(
        file,
        "ab" * 32,
        "powder-bed",
        "pa12",
        None,
        part,
        findings=findings or (thin_wall(), open_edge()),
        not_checked=(NotChecked("powder-bed/too-big", "no limit is known for this material"),),
        seconds=Seconds(0.01, 0.02, 0.03),
        format="STL",
        assumed=(Assumed("process", "powder-bed", "a solid body is taken as a powder-bed print"),),
        checked=("powder-bed/thin-wall", "soundness/flipped-face", "soundness/open-edge"),
    )


def bracket_report(*findings: Finding, file: str = "bracket.dxf") -> PartReport:
    """The entry of the bracket."""
    part = PartShown(
        "sheet",
        UnitsShown("mm", True, STATED.why),
        (100.0, 60.0, 0.0),
        volume_mm3=14246.0,
        area_mm2=5698.4,
        mass_g=38.18,
        thickness_mm=2.5,
        flat_mm=(100.0, 60.0),
        contours=3,
        holes=(HoleShown(4.2, (20.0, 30.0)),),
        bends=(BendShown(90.0, "up", 2.5, None),),
    )
    return PartReport(
        file,
        "cd" * 32,
        "sheet",
        "aluminium-5052-h32",
        Quantity(2.5, "mm"),
        part,
        findings=findings or (small_hole(),),
        not_checked=(
            NotChecked("sheet/web-too-thin", "the rule failed: ZeroDivisionError: division by zero", failed=True),
        ),
        seconds=Seconds(0.01, 0.02, 0.03),
        format="DXF",
        notes=("1 text was ignored: it is not outlines",),
        checked=("sheet/hole-too-small", "sheet/open-contour"),
    )


def unreadable_report(file: str = "broken.stl") -> PartReport:
    """The entry of a file that cannot be read."""
    return PartReport(
        file,
        "",
        None,
        None,
        None,
        None,
        not_checked=(NotChecked("*", "the file could not be read"),),
        unreadable=UnreadableShown("The file ends in the middle of a triangle.", "byte 133", "Export it again."),
    )


def whole_report() -> Report:
    """A report on all three files."""
    return Report((housing_report(), bracket_report(), unreadable_report()), made_by="0.1.0")
