"""A flat with its findings as DXF: the part on layers by role, the findings on a layer of their own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from lintsvc.model.finding import Finding
from lintsvc.model.sheet import Arc, Circle, Line, Shape, Sheet
from lintsvc.reports.colours import LEVEL, rgb
from lintsvc.reports.flat_drawing import lines_of, marks, sweep_deg

HIGHLIGHT_LAYER = "HIGHLIGHT"


def write_dxf(sheet: Sheet, findings: Sequence[Finding]) -> bytes:
    """Return a DXF (R2010, mm). The highlight layer is set not to be plotted."""
    from ezdxf import colors, units
    from ezdxf.filemanagement import new

    document = new("R2010", units=units.MM)
    space = document.modelspace()
    for role in dict.fromkeys(x.role for x in sheet.entities):
        document.layers.add(role.upper())
    highlight = document.layers.add(HIGHLIGHT_LAYER, color=colors.RED)
    highlight.dxf.plot = 0
    for entity in sheet.entities:
        for shape in entity.shapes:
            _draw(space, shape, {"layer": entity.role.upper()})
    for mark in marks(sheet, findings):
        finding = mark.finding
        look = {"layer": HIGHLIGHT_LAYER, "true_color": colors.rgb2int(rgb(LEVEL[finding.level]))}
        for number in finding.where.entities if finding.where else ():
            if 0 <= number < len(sheet.entities):
                for shape in sheet.entities[number].shapes:
                    _draw(space, shape, look)
        for start, end in lines_of(finding):
            space.add_line(start, end, dxfattribs=look)
        space.add_circle(mark.centre, mark.radius_mm, dxfattribs=look)
        corner = (mark.centre[0] + 0.72 * mark.radius_mm, mark.centre[1] + 0.78 * mark.radius_mm)
        label = f"{mark.number} {finding.rule}"
        space.add_text(label, height=max(1.0, 0.5 * mark.radius_mm), dxfattribs=look).set_placement(corner)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8")


def _draw(space: Any, shape: Shape, look: dict[str, Any]) -> None:
    match shape:
        case Line(start, end):
            space.add_line(start, end, dxfattribs=look)
        case Circle(centre, radius):
            space.add_circle(centre, radius, dxfattribs=look)
        case Arc(centre, radius, start_deg, end_deg):
            if sweep_deg(shape) >= 360.0:
                space.add_circle(centre, radius, dxfattribs=look)
            else:
                space.add_arc(centre, radius, start_deg, end_deg, dxfattribs=look)
        case _:
            space.add_lwpolyline(shape.points, dxfattribs=look)
