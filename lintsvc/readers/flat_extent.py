"""The box around drawn shapes."""

from __future__ import annotations

import math
from collections.abc import Iterable

from lintsvc.model.sheet import Arc, Circle, Line, Point2, Shape

Box2 = tuple[float, float, float, float]


def arc_points(arc: Arc) -> list[Point2]:
    """Return the ends of an arc and where it reaches furthest left, right, up and down."""
    first = math.ceil(arc.start_deg / 90)
    last = math.floor(arc.end_deg / 90)
    angles = [arc.start_deg, arc.end_deg, *(90.0 * k for k in range(first, min(last, first + 4) + 1))]
    return [point_on(arc, a) for a in angles]


def point_on(arc: Arc | Circle, angle_deg: float) -> Point2:
    """Return the point of a circle at an angle, counter-clockwise from +x."""
    (x, y), angle = arc.centre, math.radians(angle_deg)
    return x + arc.radius_mm * math.cos(angle), y + arc.radius_mm * math.sin(angle)


def box_of(shapes: Iterable[Shape]) -> Box2 | None:
    """Return (left, bottom, right, top); None for no shapes. NaN coordinates come out as NaN."""
    left = bottom = math.inf
    right = top = -math.inf
    wrong = False
    for shape in shapes:
        points: Iterable[Point2]
        if isinstance(shape, Line):
            points = (shape.start, shape.end)
        elif isinstance(shape, Circle):
            (x, y), r = shape.centre, shape.radius_mm
            points = ((x - r, y - r), (x + r, y + r))
        elif isinstance(shape, Arc):
            points = arc_points(shape)
        else:
            points = shape.points
        for x, y in points:
            if x < left:
                left = x
            if x > right:
                right = x
            if y < bottom:
                bottom = y
            if y > top:
                top = y
            # NaN compares false with everything, so it is looked for on its own.
            if x - x != 0 or y - y != 0:
                wrong = True
    if wrong:
        return math.nan, math.nan, math.nan, math.nan
    return None if left > right else (left, bottom, right, top)
