"""The outside size of a folded flat, its bends as true arcs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.measure.fold_pose import Floats, bent, moved

if TYPE_CHECKING:
    from lintsvc.measure.fold import Folded


def finished_size(folded: Folded) -> tuple[float, float, float]:
    """Return length, width and height (mm), the base panel lying flat; length and width of the smallest rectangle."""
    import shapely

    points = folded.vertices
    turned = shapely.MultiPoint(points[:, :2]).minimum_rotated_rectangle
    corners = shapely.get_coordinates(turned)
    along = corners[1] - corners[0] if len(corners) > 2 else np.array([1.0, 0.0])
    along = along / max(float(np.hypot(*along)), 1e-300)
    axes = np.array([[along[0], along[1], 0.0], [-along[1], along[0], 0.0], [0.0, 0.0, 1.0]])
    reach = np.concatenate([points, *(_furthest(folded, zone, axes) for zone in range(len(folded.zones)))])
    sides = np.ptp(reach @ axes.T, axis=0).tolist()
    return max(sides[:2]), min(sides[:2]), sides[2]


def _furthest(folded: Folded, zone: int, axes: Floats) -> Floats:
    """Return the points of a bend's faces that reach furthest along each axis and its opposite.

    The facets' corners lie on the arc; between two of them it stands out a little.
    """
    import shapely

    index = folded.zones[zone].bend
    bend, turn = folded.bends[index], folded.place.turns[index]
    if turn < 1e-6:
        return np.zeros((0, 3))
    area = folded.zones[zone].area
    x = bend.here(shapely.get_coordinates(area))[:, 0]
    place = folded.place.zones[zone]
    left = place[:3, :3] @ np.array([-bend.along[1], bend.along[0], 0.0])
    up = place[:3, :3] @ np.array([0.0, 0.0, 1.0])
    found = [np.zeros((0, 3))]
    for axis in (*axes, *-axes):
        # The outside of the bend looks along left·sin(angle) − up·cos(angle), or + for a downward bend.
        angle = math.atan2(float(axis @ left), float(axis @ up) * (-1.0 if bend.up else 1.0))
        if not 0 < angle < turn:
            continue
        y = angle / turn * bend.allowance_mm - bend.half_mm
        line = shapely.LineString(bend.back(np.array([[x.min() - 1.0, y], [x.max() + 1.0, y]])))
        ends = shapely.get_coordinates(shapely.intersection(line, area))
        outer = 0.0 if bend.up else folded.thickness_mm
        found.append(moved(place, bent(bend, turn, folded.thickness_mm, ends, outer)))
    return np.concatenate(found)
