"""The mast bracket: folded from 2.5 mm 5052-H32, one flange up, one down, tapped M4 and M5 holes.

The flat, with y upwards: the sensor tab (bent up), the plate that sits on the mast, the foot (bent down).
Inside radius 4 mm, K 0.41: the flat lengths are worked out from the outside sizes below.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

THICKNESS_MM = 2.5
RADIUS_MM = 4.0
K_FACTOR = 0.4074
MATERIAL = "aluminium-5052-h32"
#: Outside sizes after bending.
WIDTH_MM = 60.0
TAB_WIDTH_MM = 38.0
TAB_MM = 28.0
PLATE_MM = 86.0
FOOT_MM = 32.0
RELIEF_MM = 3.0
RELIEF_DEPTH_MM = 8.0

#: Tap drills, handbook: M4 3.3, M5 4.2.
TAP_M4_MM, TAP_M5_MM = 3.3, 4.2
#: Clearance holes, ISO 273 medium: M6 6.6, M5 5.5.
CLEARANCE_M6_MM, CLEARANCE_M5_MM = 6.6, 5.5

#: Length of the bend's arc at 90 degrees along the neutral line.
ARC_MM = math.pi / 2 * (RADIUS_MM + K_FACTOR * THICKNESS_MM)
SETBACK_MM = RADIUS_MM + THICKNESS_MM

#: y of the flat, from the foot's free edge upwards.
FOOT_END = FOOT_MM - SETBACK_MM
PLATE_START = FOOT_END + ARC_MM
PLATE_END = PLATE_START + PLATE_MM - 2 * SETBACK_MM
TAB_START = PLATE_END + ARC_MM
TOP = TAB_START + TAB_MM - SETBACK_MM
FOOT_BEND = (FOOT_END + PLATE_START) / 2
TAB_BEND = (PLATE_END + TAB_START) / 2

#: Height of the folded tab's upper face, the shelf that the housing stands on, in the frame of the plate.
SHELF_TOP_MM = PLATE_END + SETBACK_MM

#: Centres of the tapped holes, for the order file.
M4_CENTRES = ((-11.0, TAB_START + 11.0), (11.0, TAB_START + 11.0))
M5_CENTRES = ((-18.0, 11.0), (18.0, 11.0))


def _outline() -> list[tuple[float, float]]:
    half, tab = WIDTH_MM / 2, TAB_WIDTH_MM / 2
    low = PLATE_END - RELIEF_DEPTH_MM
    return [
        (-half, 0.0), (half, 0.0), (half, PLATE_END),
        (tab + RELIEF_MM, PLATE_END), (tab + RELIEF_MM, low), (tab, low), (tab, TOP),
        (-tab, TOP), (-tab, low), (-tab - RELIEF_MM, low), (-tab - RELIEF_MM, PLATE_END),
        (-half, PLATE_END),
    ]  # fmt: skip


def write_bracket(path: Path, *, faulty: bool) -> None:
    """Write the flat as DXF in mm.

    Faulty: the M4 holes drawn at their nominal size, a 1.2 mm vent, a hole pulled into the foot's bend, no word on the
    tab's direction, so that it cannot be folded, and an outline that does not close.
    """
    from ezdxf.filemanagement import new

    drawing = new("R2010", setup=True)
    drawing.header["$INSUNITS"] = 4
    drawing.layers.add("CUT", color=7)
    foot, tab = "BEND_DOWN_90_R4", "BEND-90DEG-R4" if faulty else "BEND_UP_90_R4"
    drawing.layers.add(foot, color=1)
    drawing.layers.add(tab, color=3)
    space: Modelspace = drawing.modelspace()
    points = _outline()
    if faulty:
        # The gap: the last piece ends 0.4 mm short.
        space.add_lwpolyline([*points, (-WIDTH_MM / 2, 0.4)], dxfattribs={"layer": "CUT"})
    else:
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "CUT"})
    half = WIDTH_MM / 2
    space.add_line((-half, FOOT_BEND), (half, FOOT_BEND), dxfattribs={"layer": foot})
    space.add_line((-TAB_WIDTH_MM / 2, TAB_BEND), (TAB_WIDTH_MM / 2, TAB_BEND), dxfattribs={"layer": tab})

    def hole(x: float, y: float, diameter: float) -> None:
        space.add_circle((x, y), diameter / 2, dxfattribs={"layer": "CUT"})

    for x, y in M4_CENTRES:
        hole(x, y, 4.0 if faulty else TAP_M4_MM)
    for x, y in M5_CENTRES:
        hole(x, y, TAP_M5_MM)
    middle = (PLATE_START + PLATE_END) / 2
    # Four holes for the mast clamp's M6 screws.
    for x in (-20.0, 20.0):
        for y in (middle - 18.0, middle + 18.0):
            hole(x, y, CLEARANCE_M6_MM)
    # The cable goes through here.
    hole(0.0, middle, 16.0)
    if faulty:
        hole(0.0, middle + 22.0, 1.2)
        hole(0.0, FOOT_END - 3.5, CLEARANCE_M5_MM)
    drawing.saveas(path)
