"""SVG and DXF highlights of a flat, read back by svgelements and ezdxf."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import ezdxf
import ezdxf.bbox
import pytest
import svgelements
from ezdxf import recover
from hypothesis import given
from hypothesis import strategies as st
from parts import reports

from lintsvc.model.finding import Where
from lintsvc.model.sheet import Arc, Bend, Entity, Line, Sheet
from lintsvc.reports.flat_drawing import drawn_box, sweep_deg
from lintsvc.reports.highlights_dxf import write_dxf
from lintsvc.reports.highlights_svg import write_svg

NS = "{http://www.w3.org/2000/svg}"


def sheet() -> Sheet:
    found = reports.bracket_part().sheet
    assert found is not None
    return found


def paths(svg: str, group: str) -> Iterator[ET.Element]:
    for found in ET.fromstring(svg).iter(f"{NS}g"):
        if found.get("id") == group:
            yield from found.iter(f"{NS}path")


def box_of(element: ET.Element) -> tuple[float, float, float, float]:
    """Outside check: svgelements' box of a path, y up again."""
    x0, y0, x1, y1 = svgelements.Path(element.get("d")).bbox()
    return x0, -y1, x1, -y0


def test_svg_is_true_to_size() -> None:
    root = ET.fromstring(write_svg(sheet(), []))
    width = float(root.get("width", "").removesuffix("mm"))
    view = [float(x) for x in root.get("viewBox", "").split()]
    assert width == view[2]
    # 100 mm of part, and an edge of 5.25 mm on both sides.
    assert width == pytest.approx(110.5)


def test_svg_draws_every_entity_where_it_is() -> None:
    drawn = [box_of(x) for x in paths(write_svg(sheet(), []), "part")]
    assert drawn[0] == pytest.approx((0, 0, 100, 60), abs=1e-3)
    assert drawn[1] == pytest.approx((17.9, 27.9, 22.1, 32.1), abs=1e-3)
    assert drawn[2] == pytest.approx((55, 25, 85, 35), abs=1e-3)


def test_svg_lights_the_entity_of_a_finding_and_rings_it() -> None:
    svg = write_svg(sheet(), [reports.small_hole()])
    lit = [box_of(x) for x in paths(svg, "highlights")]
    assert lit[0] == pytest.approx((17.9, 27.9, 22.1, 32.1), abs=1e-3)
    ring = next(x for x in ET.fromstring(svg).iter(f"{NS}circle") if x.get("class") == "ring")
    assert (float(ring.get("cx", "")), -float(ring.get("cy", ""))) == (20.0, 30.0)
    assert float(ring.get("r", "")) > 2.1
    text = next(ET.fromstring(svg).iter(f"{NS}text"))
    assert text.text == "1"


def rings(svg: str) -> list[tuple[float, float, float]]:
    """Middle and radius of each ring, y up."""
    found = (x for x in ET.fromstring(svg).iter(f"{NS}circle") if x.get("class") == "ring")
    return [(float(x.get("cx", "")), -float(x.get("cy", "")), float(x.get("r", ""))) for x in found]


def test_what_reaches_over_much_of_the_flat_is_marked_at_its_worst_place() -> None:
    # The flat is 100 x 60: 117 mm across, and a fifth of that is 23 mm.
    near, far = Where((20, 30, 0), ((20, 30, 0), (40, 30, 0))), Where((20, 30, 0), ((20, 30, 0), (80, 30, 0)))
    (one,) = rings(write_svg(sheet(), [replace(reports.small_hole(), where=near)]))
    (other,) = rings(write_svg(sheet(), [replace(reports.small_hole(), where=far)]))
    assert one[:2] == (30.0, 30.0)
    assert one[2] > 10.0
    assert other[:2] == (20.0, 30.0)
    assert other[2] < 2.0


def test_numbers_of_findings_at_one_place_stand_side_by_side() -> None:
    svg = write_svg(sheet(), [reports.small_hole()] * 3)
    numbers = [x for x in ET.fromstring(svg).iter(f"{NS}text") if (x.text or "").isdigit()]
    at = [(float(x.get("x", "")), float(x.get("font-size", ""))) for x in numbers]
    assert [x.text for x in numbers] == ["1", "2", "3"]
    assert all(b - a > size for (a, size), (b, _) in pairwise(at))


def test_bends_say_which_way_they_go() -> None:
    line = Line((0, 30), (100, 30))
    known = Entity(0, "1", "line", "bend", (line,), role="bend", bend_direction="down", bend_angle_deg=90.0)
    solid = Entity(1, "2", "line", "bend", (line,), role="bend")
    silent = Entity(2, "3", "line", "bend", (line,), role="bend")
    bends = (Bend(line.start, line.end, 45.0, "up", 2.0, 0.4, 1),)
    svg = write_svg(Sheet((known, solid, silent), 0.01, bends=bends), [])
    assert [x.text for x in ET.fromstring(svg).iter(f"{NS}text")] == ["down 90°", "up 45°", "up or down? angle?"]


def test_svg_keeps_markup_in_a_message_as_text() -> None:
    finding = replace(reports.small_hole(), message='</title><script>alert("x")</script>\x00')
    root = ET.fromstring(write_svg(sheet(), [finding]))
    assert not list(root.iter(f"{NS}script"))
    assert "<script>" in (next(root.iter(f"{NS}title")).text or "")


def test_dxf_is_sound_and_in_millimetres() -> None:
    document, auditor = recover.read(io.BytesIO(write_dxf(sheet(), [reports.small_hole()])))
    assert not auditor.has_errors
    assert document.units == ezdxf.units.MM


def test_dxf_has_the_part_on_layers_by_role() -> None:
    document, _ = recover.read(io.BytesIO(write_dxf(sheet(), [])))
    space = document.modelspace()
    assert {x.dxf.layer for x in space} == {"CUT", "BEND", "ENGRAVE"}
    box = ezdxf.bbox.extents(space.query('*[layer=="CUT"]'), fast=False)
    assert (box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y) == pytest.approx((0, 0, 100, 60))


def test_dxf_has_findings_on_a_layer_that_is_not_plotted() -> None:
    document, _ = recover.read(io.BytesIO(write_dxf(sheet(), [reports.small_hole()])))
    assert document.layers.get("HIGHLIGHT").dxf.plot == 0
    drawn = document.modelspace().query('*[layer=="HIGHLIGHT"]')
    assert sorted(x.dxftype() for x in drawn) == ["CIRCLE", "CIRCLE", "LINE", "TEXT"]
    hole = min((x for x in drawn if x.dxftype() == "CIRCLE"), key=lambda x: x.dxf.radius)
    assert (hole.dxf.center.x, hole.dxf.center.y, hole.dxf.radius) == (20.0, 30.0, 2.1)
    assert next(x for x in drawn if x.dxftype() == "TEXT").dxf.text == "1 sheet/hole-too-small"


@pytest.mark.parametrize("where", [None, Where((20.0, 30.0, 0.0), ((20.0, 30.0, 0.0),) * 2, entities=(99, -1))])
def test_finding_without_a_place_or_with_wrong_numbers_breaks_nothing(where: Where | None) -> None:
    finding = replace(reports.small_hole(), where=where)
    ET.fromstring(write_svg(sheet(), [finding]))
    recover.read(io.BytesIO(write_dxf(sheet(), [finding])))


def test_empty_flat_gives_a_drawing() -> None:
    ET.fromstring(write_svg(Sheet((), 0.01), []))
    recover.read(io.BytesIO(write_dxf(Sheet((), 0.01), [])))


angles = st.floats(-720, 720, allow_nan=False)


@given(start=angles, end=angles, radius=st.floats(0.01, 1000))
def test_box_of_an_arc_is_that_of_many_points_on_it(start: float, end: float, radius: float) -> None:
    arc = Arc((3.0, -2.0), radius, start, end)
    sweep = sweep_deg(arc)
    assert 0 < sweep <= 360
    turned = [math.radians(start + sweep * n / 720) for n in range(721)]
    xs = [3.0 + radius * math.cos(a) for a in turned]
    ys = [-2.0 + radius * math.sin(a) for a in turned]
    found = drawn_box(Sheet((Entity(0, "1", "arc", "0", (arc,)),), 0.01))
    # Half a degree between the points: they miss an extreme by at most r (1 - cos 0.25°).
    assert found == pytest.approx((min(xs), min(ys), max(xs), max(ys)), abs=radius * 1e-5 + 1e-9)


@given(start=angles, sweep=st.floats(1, 359.9), radius=st.floats(0.1, 100))
def test_svg_arc_goes_the_way_the_arc_goes(start: float, sweep: float, radius: float) -> None:
    """Outside check: points of the arc as svgelements sees it."""
    arc = Arc((0.0, 0.0), radius, start, start + sweep)
    path = next(paths(write_svg(Sheet((Entity(0, "1", "arc", "0", (arc,)),), 0.01), []), "part"))
    halves = [x for x in svgelements.Path(path.get("d")) if isinstance(x, svgelements.Arc)]
    for share, point in ((0.25, halves[0].point(0.5)), (0.5, halves[0].end), (0.75, halves[1].point(0.5))):
        angle = math.radians(start + sweep * share)
        # Written to 0.0001 mm; half a turn between rounded ends can slip by the root of that.
        expected = (radius * math.cos(angle), radius * math.sin(angle))
        assert (point.x, -point.y) == pytest.approx(expected, abs=0.03 * math.sqrt(radius))
