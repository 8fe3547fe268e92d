"""What is free about an axis: what stands between two heights, seen along it, and how near."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.order.frames import Floats, corners_of, inverse, moved
from lintsvc.order.solids import Standing

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: Heights start and end so far off a face that it does not stand in the way itself.
OFF_MM = 0.05
#: A hexagon is tried in its place by these steps; one that turns no farther than the second is held there.
_TURN_DEG, _HELD_DEG = 2, 20
#: So little in common is a touch.
_NOTHING_MM3 = 0.01


@dataclass(frozen=True, eq=False)
class Area:
    """What one thing covers between two heights, seen along the axis: edges from `a` to `b`, (n, 2)."""

    id: str
    a: Floats
    b: Floats

    def nearest(self) -> tuple[float, float]:
        """Return how far the axis is from it, 0 inside it, and at what angle (degrees)."""
        far, angle = _nearest(self.a, self.b)
        step = self.b - self.a
        crosses = (self.a[:, 1] > 0) != (self.b[:, 1] > 0)
        at = self.a[crosses, 0] - self.a[crosses, 1] * step[crosses, 0] / step[crosses, 1]
        return (0.0 if (at > 0).sum() % 2 else far), angle

    def along(self, angle_deg: float, width_mm: float) -> float:
        """Return how far out from the axis a strip of this width is free on one side; inf where nothing is in it."""
        half = width_mm / 2 - 1e-6
        edges = _turned(self.a, self.b, angle_deg)
        a, b = _beyond(*_beyond(*_beyond(*edges, 1, 1.0, -half), 1, -1.0, -half), 0, 1.0, 0.0)
        return float(np.minimum(a[:, 0], b[:, 0]).min()) if len(a) else np.inf

    def beside_jaw(self, angle_deg: float, front_mm: float, mouth_mm: float) -> float:
        """Return how near it comes to the axis where a jaw is whose arm points this way.

        In front of the axis the jaw is to both sides of its mouth, as far forward as `front_mm`.
        """
        a, b = _turned(self.a, self.b, angle_deg)
        ahead = _beyond(*_beyond(a, b, 0, 1.0, -front_mm + 1e-6), 0, -1.0, 0.0)
        sides = [_beyond(*ahead, 1, sign, mouth_mm / 2 - 1e-6) for sign in (1.0, -1.0)]
        return min(_nearest(*x)[0] for x in (_beyond(a, b, 0, 1.0, 0.0), *sides))

    def in_quarter(self, angle_deg: float) -> float:
        """Return how near it comes to the axis within 45° of a way out."""
        return _nearest(*_beyond(*_beyond(*_turned(self.a, self.b, angle_deg - 45), 0, 1.0, 0.0), 1, 1.0, 0.0))[0]


def _turned(a: Floats, b: Floats, angle_deg: float) -> tuple[Floats, Floats]:
    """Return edges turned back by an angle."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    turn = np.array([[c, -s], [s, c]])
    return a @ turn, b @ turn


def _beyond(a: Floats, b: Floats, axis: int, sign: float, least: float) -> tuple[Floats, Floats]:
    """Return what of edges lies where `sign` times x (axis 0) or y (axis 1) is at least so much."""
    one, other = sign * a[:, axis] - least, sign * b[:, axis] - least
    some = (one > 0) | (other > 0)
    a, b, one, other = a[some], b[some], one[some], other[some]
    apart = np.where(one == other, 1.0, one - other)
    cut = a + (one / apart)[:, None] * (b - a)
    return np.where((one < 0)[:, None], cut, a), np.where((other < 0)[:, None], cut, b)


def _distances(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return how far edges are from the origin, and their points there."""
    step = b - a
    share = np.clip(-(a * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-18), 0, 1)
    points = a + share[:, None] * step
    return np.linalg.norm(points, axis=1), points


def _nearest(a: Floats, b: Floats) -> tuple[float, float]:
    if not len(a):
        return np.inf, 0.0
    far, points = _distances(a, b)
    one = int(far.argmin())
    return float(far[one]), float(np.degrees(np.arctan2(points[one, 1], points[one, 0])))


def around(order: CheckedOrder, own: str, frame: Floats, reach: tuple[float, float, float]) -> list[Standing]:
    """Return what stands near an axis of a thing, from the axis's frame: `reach` is radius, lowest, highest height."""
    radius, low, high = reach
    corners = moved(frame, corners_of((-radius, -radius, low), (radius, radius, high)))
    box = (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())
    near = [x for _, x in order.standing if x.near(box)]
    if order.placing.of(own) is None:
        # Nothing says where it stands: then it is looked at by itself.
        solid = order.solid(own)
        near = [] if solid is None else [Standing.at(own, solid, np.eye(4))]
    back = inverse(frame)
    return [Standing.at(x.id, x.solid, back) for x in near]


def areas(
    order: CheckedOrder,
    own: str,
    frame: Floats,
    radius_mm: float,
    heights: tuple[float, float],
    only: Collection[str] | None = None,
) -> list[Area]:
    """Return what covers the space about an axis between two heights, as far out as a radius.

    All between them is counted, however thin: a slice here and there would miss a sheet. `only`: ids that are there.
    """
    low, high = heights[0] + OFF_MM, heights[1]
    found = []
    for each in around(order, own, frame, (radius_mm, low, high)):
        if only is not None and each.id not in only:
            continue
        if each.near((-radius_mm, -radius_mm, low, radius_mm, radius_mm, high)):
            area = _area(each, radius_mm, low, high)
            if area is not None:
                found.append(area)
    return found


def _area(each: Standing, radius_mm: float, low: float, high: float) -> Area | None:
    from manifold3d import Manifold

    side = 2 * radius_mm
    box = Manifold.cube((side, side, high - low)).translate((-radius_mm, -radius_mm, low))
    inside: Any = each.solid ^ box
    if inside.is_empty():
        return None
    rings = [np.asarray(x, float) for x in inside.project().to_polygons() if len(x) > 2]
    if not rings:
        return None
    return Area(each.id, np.vstack(rings), np.vstack([np.roll(x, -1, axis=0) for x in rings]))


def free_across(found: Collection[Area], across_mm: float) -> tuple[float | None, str, float]:
    """Return how wide it is free about the axis, what is nearest and at what angle; None where it is wide enough."""
    least, who, angle = np.inf, "", 0.0
    for area in found:
        distance, at = area.nearest()
        if distance < least:
            least, who, angle = distance, area.id, at
    return (None, "", 0.0) if 2 * least >= across_mm - 1e-6 else (2 * float(least), who, angle)


def held_hexagon(order: CheckedOrder, own: str, frame: Floats, flats_mm: float, height_mm: float) -> bool:
    """Return whether what stands about an axis takes in a hexagon and keeps it from turning, as a pocket for a nut."""
    from manifold3d import Manifold

    radius = flats_mm / math.sqrt(3)
    near = [x.solid for x in around(order, own, frame, (radius, OFF_MM, height_mm))]
    nut = Manifold.cylinder(height_mm - OFF_MM, radius, circular_segments=6).translate((0.0, 0.0, OFF_MM))
    turned = (nut.rotate((0.0, 0.0, float(x))) for x in range(0, 60, _TURN_DEG))
    free = sum(all((x ^ solid).volume() < _NOTHING_MM3 for solid in near) for x in turned)
    return 0 < free * _TURN_DEG <= _HELD_DEG
