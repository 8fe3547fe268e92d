"""What lies beside a bend: how deep the flanges are, which edges and cutouts come near."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.handbook.bending import outside_setback
from lintsvc.measure.bend_frame import Floats, Frame, Span
from lintsvc.measure.bend_zones import BESIDE_MM, BendZone
from lintsvc.model.sheet import Point2

if TYPE_CHECKING:
    from shapely import Polygon

#: Columns across a bend at which the flange's depth is taken.
_COLUMNS = 101


@dataclass(frozen=True, slots=True)
class Flange:
    """The sheet on one side of a bend up to its free edge.

    `flat_mm` from the bend line to the edge, at least this deep along half of the bend or more;
    `outside_mm` the leg that it becomes, outside to outside. `span`: line to edge, where measured.
    """

    side: int
    flat_mm: float
    outside_mm: float
    span: tuple[Point2, Point2]


@dataclass(frozen=True, slots=True)
class Near:
    """Something beside a bend: `gap_mm` from the end of the bend zone (0: within it), between the points of `span`."""

    gap_mm: float
    span: tuple[Point2, Point2]
    #: Which cutout, by its place in the list that was given.
    cutout: int | None = None


def flanges(zone: BendZone, outline: Floats, others: Sequence[BendZone]) -> tuple[Flange, ...]:
    """Return the flanges of a bend: at most one a side; none where another bend comes before the edge.

    `outline` (m, 4): edges of the outer contours without the cutouts.
    """
    frame = Frame.of(outline, zone.bend.start, zone.bend.end)
    lines = [(zone.frame.here(x.bend.start), zone.frame.here(x.bend.end)) for x in others if x.number != zone.number]
    found = []
    for side in (1, -1):
        depths: list[tuple[float, float]] = []
        for low, high in zone.runs:
            # Not at the very ends, where the contour's own corners lie.
            inset = min(BESIDE_MM * 2, (high - low) / 4)
            for x in np.linspace(low + inset, high - inset, _COLUMNS).tolist():
                depth = _depth(frame, x, side)
                if depth is not None and not _bend_between(lines, x, side, depth):
                    depths.append((depth, x))
        if not depths:
            continue
        depths.sort()
        flat = depths[len(depths) // 2][0]
        # Of columns as deep as that, the one nearest to the middle: the same however the part is turned.
        middle = sum(zone.extent) / 2
        x = min((x for depth, x in depths if abs(depth - flat) < 1e-3), key=lambda x: round(abs(x - middle), 6))
        grow = outside_setback(min(max(zone.angle_deg, 0.0), 180.0), zone.radius_mm, zone.thickness_mm) - zone.half_mm
        span = (zone.frame.back(x, 0.0), zone.frame.back(x, side * flat))
        found.append(Flange(side, flat, flat + grow, span))
    return tuple(found)


def _depth(frame: Frame, x: float, side: int) -> float | None:
    for low, high in frame.column(x):
        if low <= side * BESIDE_MM <= high:
            return high if side > 0 else -low
    return None


def _bend_between(lines: Sequence[tuple[Point2, Point2]], x: float, side: int, depth: float) -> bool:
    for (x1, y1), (x2, y2) in lines:
        if min(x1, x2) <= x <= max(x1, x2) and x1 != x2:
            y = (y1 + (y2 - y1) * (x - x1) / (x2 - x1)) * side
            if BESIDE_MM < y < depth:
                return True
    return False


def edges_near(zone: BendZone, outline: Floats, limit_mm: float) -> tuple[Near, ...]:
    """Return places where the outer contour comes within the limit of the bend zone, worst first, one a place.

    Left out: the far edge of a flange that is as short as that all along (its length is another matter),
    and the ends of a bend where a side of the flange slants away at once.
    """
    frame = Frame.of(outline, zone.bend.start, zone.bend.end)
    reach = zone.half_mm + limit_mm
    found = []
    for side in (1, -1):
        for low, high in zone.runs:
            for first, last, x, y in _dips(frame, side, (low, high), reach):
                at_end = first <= low + BESIDE_MM or last >= high - BESIDE_MM
                whole = last - first >= (high - low) / 2
                # A mitre is as near as this over less than twice the distance: flatter than 27°.
                if whole or (at_end and last - first < 2 * reach):
                    continue
                near, edge = (zone.frame.back(x, side * min(zone.half_mm, y)), zone.frame.back(x, side * y))
                found.append(Near(max(0.0, y - zone.half_mm), (near, edge)))
    return tuple(sorted(found, key=lambda x: x.gap_mm))


def _dips(frame: Frame, side: int, run: Span, reach: float) -> list[tuple[float, float, float, float]]:
    """Return where the contour lies within reach: first x, last x, and the nearest point of each place."""
    low, high = run
    a, b = frame.edges[:, :2].copy(), frame.edges[:, 2:].copy()
    a[:, 1] *= side
    b[:, 1] *= side
    pieces = []
    inside = (np.minimum(a[:, 1], b[:, 1]) < reach) & (np.maximum(a[:, 1], b[:, 1]) > BESIDE_MM)
    inside &= (np.minimum(a[:, 0], b[:, 0]) < high - BESIDE_MM) & (np.maximum(a[:, 0], b[:, 0]) > low + BESIDE_MM)
    for p, q in zip(a[inside].tolist(), b[inside].tolist(), strict=True):
        clipped = _clip(p, q, low, high, BESIDE_MM, reach)
        if clipped is not None:
            pieces.append(clipped)
    pieces.sort()
    found: list[tuple[float, float, float, float]] = []
    for first, last, x, y in pieces:
        if found and first <= found[-1][1] + BESIDE_MM:
            before = found[-1]
            nearest = (x, y) if y < before[3] else before[2:]
            found[-1] = (before[0], max(last, before[1]), *nearest)
        else:
            found.append((first, last, x, y))
    return found


def _clip(
    p: list[float], q: list[float], low: float, high: float, bottom: float, top: float
) -> tuple[float, float, float, float] | None:
    """Clip a piece to a box; return its x range and its nearest point to the line, or None."""
    t0, t1 = 0.0, 1.0
    for start, step, least, most in ((p[0], q[0] - p[0], low, high), (p[1], q[1] - p[1], bottom, top)):
        if step == 0:
            if not least <= start <= most:
                return None
            continue
        enter, leave = sorted(((least - start) / step, (most - start) / step))
        t0, t1 = max(t0, enter), min(t1, leave)
    if t0 > t1:
        return None
    ends = [(p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t) for t in (t0, t1)]
    x, y = min(ends, key=lambda end: end[1])
    return min(ends)[0], max(ends)[0], x, y


def cutouts_near(
    zone: BendZone,
    cutouts: Sequence[Polygon],
    limit_mm: float,
    circles: Mapping[int, tuple[Point2, float]] = MappingProxyType({}),
) -> tuple[Near, ...]:
    """Return the cutouts that come within the limit of the bend zone, nearest first.

    `circles`: centre and radius of those that are round, by their place in the list. Left out: reliefs (a
    cutout in which a bend ends), and windows that reach past the zone by the limit on both sides: only
    their short sides cross the bend.
    """
    import shapely

    found = []
    first, last = zone.extent
    reach = zone.half_mm + limit_mm
    corners = [zone.frame.back(x, y) for x, y in ((first, -reach), (last, -reach), (last, reach), (first, reach))]
    area = shapely.Polygon(corners)
    for number in np.flatnonzero(shapely.intersects(np.array(cutouts, object), area)).tolist():
        cutout = cutouts[number]
        points = _rim(zone, cutout, circles.get(number))
        left, right = float(points[:, 0].min()), float(points[:, 0].max())
        if right <= first + BESIDE_MM or left >= last - BESIDE_MM:
            continue
        low, high = points[int(points[:, 1].argmin())], points[int(points[:, 1].argmax())]
        # Above 0: how far the nearer side lies from the zone; a hole across it lies in it on both sides.
        above, below = float(low[1]) - zone.half_mm, -float(high[1]) - zone.half_mm
        if max(above, below) < 0:
            if low[1] > -reach or high[1] < reach:
                found += _in_the_zone(zone, cutout, points, number)
            continue
        gap, (x, y), side = (above, low, 1.0) if above >= below else (below, high, -1.0)
        if gap < limit_mm:
            span = (zone.frame.back(float(x), side * zone.half_mm), zone.frame.back(float(x), float(y)))
            found.append(Near(gap, span, number))
    return tuple(sorted(found, key=lambda x: x.gap_mm))


def _rim(zone: BendZone, cutout: Polygon, circle: tuple[Point2, float] | None) -> Floats:
    """Return points of a cutout in the bend's frame: of a round one its four outermost."""
    import shapely

    if circle is None:
        return zone.frame.all_here(shapely.get_coordinates(cutout.exterior))
    (x, y), radius = zone.frame.here(circle[0]), circle[1]
    return np.array([(x, y - radius), (x, y + radius), (x - radius, y), (x + radius, y)])


def _in_the_zone(zone: BendZone, cutout: Polygon, points: Floats, number: int) -> list[Near]:
    if _holds_an_end(zone, cutout):
        return []
    x = float(points[:, 0].min() + points[:, 0].max()) / 2
    low, high = float(points[:, 1].min()), float(points[:, 1].max())
    return [Near(0.0, (zone.frame.back(x, low), zone.frame.back(x, high)), number)]


def _holds_an_end(zone: BendZone, cutout: Polygon) -> bool:
    """Return True when the outermost end of the bend lies in or on the cutout: it is a relief."""
    import shapely

    ends = [zone.frame.back(x, 0.0) for x in zone.extent]
    return any(cutout.distance(shapely.Point(end)) < 2 * BESIDE_MM for end in ends)
