"""Rings of a flat as lines, arcs and circles: curves that were round on the solid become round again."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.solid_faces import CHORD_MM
from lintsvc.model.sheet import Arc, Circle, Line, Polyline, Shape

#: Points this close to a circle of the solid are taken to lie on it (mm): where two flattened copies of one
#: circle were joined, points lie up to a chord's height inside of it.
_ON_MM = 1.5 * CHORD_MM
#: Steps longer than this share of the radius are no pieces of a flattened arc.
_LONGEST_STEP = 0.75
_LEAST_OF_CIRCLE = 9
#: Distances of points to circles that are looked at in one go.
_AT_ONCE = 500_000


def shapes_of(ring: NDArray[np.float64], circles: NDArray[np.float64]) -> tuple[Shape, ...]:
    """Return a closed ring (n, 2; the last point is not the first) as shapes, in its order.

    `circles` (m, 3): centre x, y and radius of curves that the ring may contain. Straight runs become lines,
    runs on a circle arcs, the rest polylines of the given points.
    """
    if (whole := _whole_circle(ring, circles)) is not None:
        return (whole,)
    ring = _without_straight_points(ring)
    count = len(ring)
    owner = _owners(ring, circles)
    if owner[0] is not None and all(o == owner[0] for o in owner):
        x, y, radius = circles[owner[0]].tolist()
        return (Circle((x, y), radius),)
    start = next((i for i in range(count) if owner[i] != owner[i - 1] or owner[i] is None), 0)
    shapes: list[Shape] = []
    step = 0
    while step < count:
        first = (start + step) % count
        run = 1
        while owner[first] is not None and step + run < count and owner[(first + run) % count] == owner[first]:
            run += 1
        points = [ring[(first + i) % count] for i in range(run + 1)]
        on = owner[first]
        if on is not None and run >= 2:
            shapes.append(_arc(points, circles[on].tolist()))
        elif run == 1 or on is None:
            shapes.append(Line(_pair(points[0]), _pair(points[1])))
        step += run
    return _joined(shapes)


def _whole_circle(ring: NDArray[np.float64], circles: NDArray[np.float64]) -> Circle | None:
    """The circle that a ring goes round in even steps, as most holes do."""
    if len(ring) < _LEAST_OF_CIRCLE or not len(circles):
        return None
    x, y = ring.mean(axis=0).tolist()
    away = np.hypot(ring[:, 0] - x, ring[:, 1] - y)
    radius = float(away[0])
    fits = (np.abs(circles - (x, y, radius)) < _ON_MM).all(axis=1)
    if np.abs(away - radius).max() > _ON_MM or not fits.any():
        return None
    steps = np.hypot(*(ring - np.concatenate([ring[1:], ring[:1]])).T)
    if steps.max() > _LONGEST_STEP * radius:
        return None
    x, y, radius = circles[np.argmax(fits)].tolist()
    return Circle((x, y), radius)


def _without_straight_points(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Leave out points that lie on the straight line between their neighbours: joints of panels and bends."""
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    into, out = ring - before, after - ring
    turn = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    length = np.linalg.norm(into, axis=1) * np.linalg.norm(out, axis=1)
    ahead = (into * out).sum(axis=1) > 0
    keep = ~((np.abs(turn) <= 1e-6 * np.maximum(length, 1e-12)) & ahead)
    # A grid of a millionth tilts short steps by more: those are joints too where they stay within it.
    off = np.abs(turn) / np.maximum(np.linalg.norm(after - before, axis=1), 1e-12)
    keep &= ~((off < 3e-6) & ahead)
    return ring[keep] if int(keep.sum()) >= 3 else ring


def _owners(ring: NDArray[np.float64], circles: NDArray[np.float64]) -> list[int | None]:
    """For each step of a ring the circle that it is a piece of, None where there is none."""
    if not len(circles):
        return [None] * len(ring)
    centre, radius = circles[:, :2], circles[:, 2]
    low, high = ring.min(axis=0), ring.max(axis=0)
    # A circle that a ring runs along reaches into the ring's box.
    near = np.flatnonzero(((centre + radius[:, None] >= low) & (centre - radius[:, None] <= high)).all(axis=1))
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    owner = np.full(len(ring), -1)
    rows = max(1, _AT_ONCE // len(ring))
    for start in range(0, len(near), rows):
        some = near[start : start + rows, None]
        away = np.hypot(ring[:, 0] - centre[some, 0], ring[:, 1] - centre[some, 1])
        on = np.abs(away - radius[some]) < _ON_MM
        # Long steps between two points of a circle are no pieces of it.
        on &= np.roll(on, -1, axis=1) & (step <= _LONGEST_STEP * radius[some])
        owner = np.where((owner < 0) & on.any(axis=0), some[on.argmax(axis=0), 0], owner)
    return [None if i < 0 else i for i in owner.tolist()]


def _arc(points: list[NDArray[np.float64]], circle: list[float]) -> Shape:
    x, y, radius = circle
    angles = [math.degrees(math.atan2(p[1] - y, p[0] - x)) for p in points]
    left = math.sin(math.radians(angles[1] - angles[0])) > 0
    start, end = (angles[0], angles[-1]) if left else (angles[-1], angles[0])
    return Arc((x, y), radius, start % 360.0, end % 360.0)


def _joined(shapes: list[Shape]) -> tuple[Shape, ...]:
    """Put runs of short lines, which stand for a curve of another kind, into one polyline."""
    found: list[Shape] = []
    run: list[tuple[float, float]] = []

    def close() -> None:
        if len(run) > 3:
            found.append(Polyline(tuple(run)))
        else:
            found.extend(Line(a, b) for a, b in pairwise(run))
        run.clear()

    for shape in shapes:
        if isinstance(shape, Line) and _short(shape, run):
            run.extend((shape.end,) if run else (shape.start, shape.end))
            continue
        if run:
            close()
        if isinstance(shape, Line):
            run.extend((shape.start, shape.end))
        else:
            found.append(shape)
    if run:
        close()
    return tuple(found)


def _short(line: Line, run: list[tuple[float, float]]) -> bool:
    """True where a line goes on from a run in nearly the same direction, as the steps of a curve do."""
    if len(run) < 2:
        return not run
    before = math.atan2(run[-1][1] - run[-2][1], run[-1][0] - run[-2][0])
    here = math.atan2(line.end[1] - line.start[1], line.end[0] - line.start[0])
    return abs(math.remainder(here - before, 2 * math.pi)) < math.radians(12)


def _pair(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])
