"""Rigid places as 4 × 4 matrices."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def moved(place: Floats, points: Any) -> Floats:
    """Return (n, 3) points moved by a place."""
    return np.asarray(np.asarray(points) @ place[:3, :3].T + place[:3, 3])


def turned(place: Floats, ways: Any) -> Floats:
    """Return (n, 3) directions turned by a place."""
    return np.asarray(np.asarray(ways) @ place[:3, :3].T)


def inverse(place: Floats) -> Floats:
    """Return the way back."""
    back = np.eye(4)
    back[:3, :3] = place[:3, :3].T
    back[:3, 3] = -place[:3, :3].T @ place[:3, 3]
    return back


def corners_of(low: Sequence[float] | Floats, high: Sequence[float] | Floats) -> Floats:
    """Return the corners (8, 3) of a box."""
    return np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])


def place_of(at: Sequence[float], turn_deg: Sequence[float]) -> Floats:
    """Return the place that turns about x, then y, then z, and then moves to `at`."""
    turn = np.eye(3)
    for axis, degrees in enumerate(turn_deg):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        i, j = (axis + 1) % 3, (axis + 2) % 3
        step = np.eye(3)
        step[i, i] = step[j, j] = c
        step[i, j], step[j, i] = -s, s
        turn = step @ turn
    place = np.eye(4)
    place[:3, :3], place[:3, 3] = turn, at
    return place


def frame_on(normal: Floats) -> Floats:
    """Return a right-handed frame (3, 3), columns x, y, z, whose z is `normal`; the same for the same normal."""
    z = np.asarray(normal, float) / np.linalg.norm(normal)
    helper = np.eye(3)[int(np.abs(z).argmin())]
    x = np.cross(helper, z)
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(z, x), z])
