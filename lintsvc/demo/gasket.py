"""The gasket between housing and lid: 2 mm rubber, cut by hand from a 1:1 print."""

from __future__ import annotations

from pathlib import Path

THICKNESS_MM = 2.0
MATERIAL = "rubber"
#: Outside of the housing's rim, and the rim's width: 2 mm of rubber are left on both sides of a hole.
SIZE_MM = (100.0, 70.0)
RIM_MM = 8.4
HOLE_MM = 4.4


def write_gasket(path: Path, *, faulty: bool) -> None:
    """Write the gasket as DXF in mm. Faulty: holes that leave 0.5 mm of rim, one side drawn twice, no unit."""
    from ezdxf.filemanagement import new

    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 0 if faulty else 4
    drawing.layers.add("CUT")
    space = drawing.modelspace()
    x, y = SIZE_MM
    space.add_lwpolyline([(0, 0), (x, 0), (x, y), (0, y)], close=True, dxfattribs={"layer": "CUT"})
    r = RIM_MM
    space.add_lwpolyline([(r, r), (x - r, r), (x - r, y - r), (r, y - r)], close=True, dxfattribs={"layer": "CUT"})
    if faulty:
        space.add_line((0, 0), (x, 0), dxfattribs={"layer": "CUT"})
    inset = 2.7 if faulty else RIM_MM / 2
    for cx in (inset, x - inset):
        for cy in (inset, y - inset):
            space.add_circle((cx, cy), HOLE_MM / 2, dxfattribs={"layer": "CUT"})
    drawing.saveas(path)
