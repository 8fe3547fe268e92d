"""The housing and its lid, printed in powder-bed PA12. The sensor looks out through the floor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from manifold3d import Manifold

MATERIAL = "pa12"
OUTSIDE_MM = (100.0, 70.0, 42.0)
WALL_MM = 2.0
#: Facets of round features.
SEGMENTS = 96
#: The bought-in sensor (a plain cylinder) and its play all round.
SENSOR_MM = 24.0
SENSOR_PLAY_MM = 0.3
#: The bought-in battery box.
BATTERY_MM = (46.0, 34.0, 18.0)
PIN_MM = 4.0
LID_MM = 3.0
#: The corner bosses with the lid's screw holes.
BOSS_MM = 8.0
INSET_MM = 4.2
#: Holes in the lid for its M4 screws, ISO 273 coarse: a print comes out a little small.
LID_HOLE_MM = 4.8
#: The two holes in the floor, over the M4 threads of the bracket's tab.
FLOOR_HOLE_MM = 4.8
FLOOR_PITCH_MM = 22.0
FLOOR_HOLE_Y_MM = 8.5
#: Battery ribs stand this far off the box.
BATTERY_PLAY_MM = 1.0


def housing(*, faulty: bool, misfit: bool = False) -> Manifold:
    """Return the housing.

    Faulty: one wall 0.5 mm, a closed bubble in a boss, a 0.3 mm gap beside the battery rib. Misfit, good by itself:
    floor holes 23.4 mm apart and too near the wall for a head, ribs 0.2 mm too close for the battery.
    """
    from manifold3d import Manifold

    x, y, z = OUTSIDE_MM
    w = WALL_MM
    shell = Manifold.cube((x, y, z)) - Manifold.cube((x - 2 * w, y - 2 * w, z)).translate((w, w, w))
    # Square bosses for the lid's screws fill the corners: a round one would leave crevices that hold powder.
    for cx in (INSET_MM, x - INSET_MM):
        for cy in (INSET_MM, y - INSET_MM):
            corner = (0.0 if cx < x / 2 else x - BOSS_MM, 0.0 if cy < y / 2 else y - BOSS_MM, 0.0)
            shell += Manifold.cube((BOSS_MM, BOSS_MM, z)).translate(corner)
    for cx in (INSET_MM, x - INSET_MM):
        for cy in (INSET_MM, y - INSET_MM):
            shell -= Manifold.cylinder(13.0, 1.6, circular_segments=SEGMENTS).translate((cx, cy, z - 12.0))
    # The screws into the bracket's tab go through the floor.
    pitch, hole_y = (FLOOR_PITCH_MM + 1.4, 4.9) if misfit else (FLOOR_PITCH_MM, FLOOR_HOLE_Y_MM)
    for cx in (x / 2 - pitch / 2, x / 2 + pitch / 2):
        hole = Manifold.cylinder(4 * w, FLOOR_HOLE_MM / 2, circular_segments=SEGMENTS)
        shell -= hole.translate((cx, hole_y, -2 * w))
    # The sensor's bore through the floor, with a collar that guides it.
    centre = (25.0, y / 2)
    bore = SENSOR_MM / 2 + SENSOR_PLAY_MM
    shell += Manifold.cylinder(12.0, bore + 2.0, circular_segments=SEGMENTS).translate((*centre, 0.0))
    # One bore through floor and collar: two on each other would leave slivers.
    shell -= Manifold.cylinder(20.0, bore, circular_segments=SEGMENTS).translate((*centre, -4.0))
    # Two ribs hold the battery box.
    bx, by, _ = BATTERY_MM
    x0, y0 = x - w - 1.0 - bx, (y - by) / 2
    play = -0.2 if misfit else BATTERY_PLAY_MM
    for ry in (y0 - play - 2.0, y0 + by + play):
        shell += Manifold.cube((bx, 2.0, 10.0)).translate((x0, ry, w - 0.5))
    # A notch for the cable.
    shell -= Manifold.cube((8.0, 3 * w, 8.0)).translate((20.0, -w, z - 8.0))
    if faulty:
        shell -= Manifold.cube((30.0, w - 0.5, 20.0)).translate((50.0, y - w - 1e-3, 12.0))
        shell -= Manifold.sphere(1.5, SEGMENTS).translate((INSET_MM, INSET_MM, 15.0))
        shell += Manifold.cube((bx, 2.0, 10.0)).translate((x0, y0 - 1.0 - 2.0 - 0.3 - 2.0, w - 0.5))
    return shell


def lid(*, faulty: bool, misfit: bool = False) -> Manifold:
    """Return the lid with its hinge, printed in place.

    Faulty: the hinge pin has 0.15 mm of play and grows fast. Misfit: its screw holes are 4.1 mm.
    """
    from manifold3d import Manifold

    x, y, _ = OUTSIDE_MM
    plate = Manifold.cube((x, y, LID_MM))
    for cx in (INSET_MM, x - INSET_MM):
        for cy in (INSET_MM, y - INSET_MM):
            wide = 4.1 if misfit else LID_HOLE_MM
            plate -= Manifold.cylinder(10.0, wide / 2, circular_segments=SEGMENTS).translate((cx, cy, -5.0))
    play = 0.15 if faulty else 0.5
    axis = 5.0
    outer = axis
    # The leaf turns clear of the plate: its edge is as far from the leaf as the knuckles are.
    hinge = y + outer + 0.6

    def along_x(length: float, radius: float, at: float) -> Manifold:
        turned = Manifold.cylinder(length, radius, circular_segments=SEGMENTS).rotate((0.0, 90.0, 0.0))
        return turned.translate((at, hinge, axis))

    # Two knuckles on the lid, one on the leaf between them, and a pin through all, fast in the outer two.
    knuckle = 20.0
    body = plate
    for at in (10.0, x - 10.0 - knuckle):
        body += along_x(knuckle, outer, at)
        body += Manifold.cube((knuckle, hinge - y + 1.0, LID_MM)).translate((at, y - 1.0, 0.0))
    body += along_x(x - 20.0, PIN_MM / 2, 10.0)
    gap = play if faulty else 0.6
    start, end = 10.0 + knuckle + gap, x - 10.0 - knuckle - gap
    leaf = along_x(end - start, outer, start)
    leaf += Manifold.cube((end - start, 18.0, LID_MM)).translate((start, hinge, 0.0))
    leaf -= along_x(end - start + 2.0, PIN_MM / 2 + play, start - 1.0)
    return body + leaf


def write_stl(solid: Manifold, path: Path) -> None:
    """Write a binary STL in mm."""
    from lintsvc.measure.stl_bytes import stl_bytes

    mesh = solid.to_mesh()
    corners = np.asarray(mesh.vert_properties, np.float32)[:, :3][np.asarray(mesh.tri_verts)]
    path.write_bytes(stl_bytes(corners, "stream-level gauge, mm"))
