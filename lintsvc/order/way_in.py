"""Is there a straight way in: can a thing be moved out of its place along an axis of its own without touching the part.

The thing is moved by no more than its present clearance at a time, so no obstacle is jumped over.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lintsvc.order.frames import Floats, corners_of, moved
from lintsvc.order.shape import Shape

Distance = Callable[[Floats], tuple[Floats, Floats]]

#: A step is at least this long; what is thinner may be jumped over.
_STEP_MM = 0.1
_MOST_STEPS = 1000
#: A way barred by more than the first is not followed; one that is barred is, in steps of the second.
_BARRED_MM, _STEP_BARRED_MM = 2.0, 0.5
#: Points of the surface beyond the thing's own section by more than this cannot be met.
_BESIDE_MM = 1.0


def way_in(
    part: Shape,
    distance: Distance,
    thing: Shape,
    place: Floats,
    points_in: Callable[[Shape, Floats, Floats], Floats],
    start: Floats | None = None,
) -> float:
    """Return the least clearance (mm) on the best of the six ways along the thing's axes; negative: each is barred.

    `place`: the thing's pose in the part, `points_in`: points of the part's surface within a box, `start`: the pose
    that the order says. A round thing may have been turned a little in its place, and its axes lean: then the ways
    along those of the start are tried as well.
    """
    low, high = thing.box
    corners = moved(place, corners_of(low, high))
    far = corners_of(*part.box)
    best = -np.inf
    for turn in (place, start):
        if turn is None or best >= 0:
            continue
        for axis in range(3):
            for sign in (1.0, -1.0):
                way = sign * turn[:3, axis]
                # Far enough for the thing's hindmost corner to leave the part's box along this way.
                long = max(0.0, float((far @ way).max() - (corners @ way).min()))
                swept = np.vstack([corners, corners + long * way])
                points = points_in(part, swept.min(axis=0) - _BESIDE_MM, swept.max(axis=0) + _BESIDE_MM)
                best = max(best, _least(points, distance, place, way, long, best))
    return float(best)


def _least(points: Floats, distance: Distance, place: Floats, way: Floats, long: float, enough: float) -> float:
    """Return the least clearance on one way out; stops early where it is no better than another."""
    here = (points - place[:3, 3]) @ place[:3, :3]
    step_way = way @ place[:3, :3]
    least, gone = np.inf, 0.0
    for _ in range(_MOST_STEPS):
        if gone >= long or not len(here):
            return least
        now = float(distance(here - gone * step_way)[0].min())
        least = min(least, now)
        if least <= max(enough, -_BARRED_MM):
            return least
        # In the way already: how narrow it is need not be known to a hundredth.
        gone += max(now, _STEP_MM) if now > -_STEP_MM else _STEP_BARRED_MM
    return -np.inf
