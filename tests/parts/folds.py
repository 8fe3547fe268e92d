"""Flats with bend lines whose folded shape is known in closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely import affinity
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from lintsvc.model.sheet import Bend, Point2

T, R, K = 2.0, 3.0, 0.44


def allowance(angle_deg: float, radius: float = R, thickness: float = T, k: float = K) -> float:
    """Length of the neutral line: angle × (R + K·t)."""
    return math.radians(abs(angle_deg)) * (radius + k * thickness)


def bend(start: Point2, end: Point2, angle_deg: float, radius: float = R, k: float = K) -> Bend:
    """A bend; positive angles go up."""
    return Bend(start, end, abs(angle_deg), "up" if angle_deg > 0 else "down", radius, k)


def strip(
    straights: Sequence[float], angles: Sequence[float], width: float = 50.0, radius: float = R, thickness: float = T
) -> tuple[Polygon, list[Bend]]:
    """A strip along x: straight pieces with a bend after each but the last."""
    x, bends = 0.0, []
    for i, straight in enumerate(straights):
        x += straight
        if i < len(angles):
            wide = allowance(angles[i], radius, thickness)
            bends.append(bend((x + wide / 2, 0.0), (x + wide / 2, width), angles[i], radius))
            x += wide
    return box(0, 0, x, width), bends


def tray(base: Point2, wall: float, angle_deg: float = 90.0) -> tuple[Polygon, list[Bend]]:
    """A base about the origin with four walls; their ends meet the base's corners."""
    half_x, half_y, wide = base[0] / 2, base[1] / 2, allowance(angle_deg)
    reach, at = wide + wall, wide / 2
    outline = unary_union(
        [
            box(-half_x - reach, -half_y, half_x + reach, half_y),
            box(-half_x, -half_y - reach, half_x, half_y + reach),
        ]
    )
    lines = [
        ((half_x + at, -half_y), (half_x + at, half_y)),
        ((-half_x - at, -half_y), (-half_x - at, half_y)),
        ((-half_x, half_y + at), (half_x, half_y + at)),
        ((-half_x, -half_y - at), (half_x, -half_y - at)),
    ]
    return outline, [bend(a, b, angle_deg) for a, b in lines]


def moved(outline: Polygon, bends: Sequence[Bend], turn_deg: float, by: Point2) -> tuple[Polygon, list[Bend]]:
    """The same flat, turned about the origin and moved."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def put(p: Point2) -> Point2:
        return c * p[0] - s * p[1] + by[0], s * p[0] + c * p[1] + by[1]

    where = affinity.affine_transform(outline, [c, -s, s, c, *by])
    assert isinstance(where, Polygon)
    return where, [Bend(put(b.start), put(b.end), b.angle_deg, b.direction, b.radius_mm, b.k_factor) for b in bends]
