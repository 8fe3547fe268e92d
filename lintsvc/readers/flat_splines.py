"""B-splines, rational ones too, into points within a tolerance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from lintsvc.model.sheet import Point2
from lintsvc.readers.flat_curves import Flattening

#: Higher degrees are written by no CAD program; their evaluation would only cost time.
HIGHEST_DEGREE = 25

_Homogeneous = tuple[float, float, float]


class BadSpline(ValueError):
    """Degree, knots, weights and control points that make no curve. The message says why."""


def bspline_points(
    flattening: Flattening,
    degree: int,
    knots: Sequence[float],
    control: Sequence[Point2],
    weights: Sequence[float] = (),
) -> list[Point2]:
    """Return points of a B-spline within the tolerance, both ends included.

    Each span between two knots is turned into a Bézier curve by its polar form, and cut by a bound on its
    second derivative, so no bend between two samples is missed. Raises BadSpline.
    """
    _check(degree, knots, control, weights)
    rational = bool(weights) and max(weights) != min(weights)
    if rational:
        raised: list[_Homogeneous] = [(x * w, y * w, w) for (x, y), w in zip(control, weights, strict=True)]
    else:
        raised = [(x, y, 1.0) for x, y in control]
    points: list[Point2] = []
    for span in range(degree, len(control)):
        if not knots[span] < knots[span + 1]:
            continue
        flattening.spend(degree**3 // 3)
        curve = [_polar(knots, raised, degree, span, j) for j in range(degree + 1)]
        if not points:
            points.append(_projected(curve[0]))
        points += _bezier(flattening, curve, rational)
    if not points:
        raise BadSpline("its knots leave no length")
    return points


def _check(degree: int, knots: Sequence[float], control: Sequence[Point2], weights: Sequence[float]) -> None:
    if not 1 <= degree <= HIGHEST_DEGREE:
        raise BadSpline(f"degree {degree}; 1 to {HIGHEST_DEGREE} are read")
    if len(control) <= degree:
        raise BadSpline(f"{len(control)} control points, which is too few for degree {degree}")
    if len(knots) != len(control) + degree + 1:
        raise BadSpline(f"{len(knots)} knots where {len(control) + degree + 1} belong")
    if any(a > b for a, b in pairwise(knots)):
        raise BadSpline("its knots decrease")
    if weights and (len(weights) != len(control) or min(weights) <= 0):
        raise BadSpline("its weights are not one positive number a control point")


def _polar(knots: Sequence[float], control: Sequence[_Homogeneous], degree: int, span: int, ends: int) -> _Homogeneous:
    """Return the polar form at the span's left knot (degree − ends times) and its right knot (ends times).

    That is Bézier control point `ends` of the span (Ramshaw's blossoming; de Boor's algorithm with a
    different parameter in each round).
    """
    points = list(control[span - degree : span + 1])
    left, right = knots[span], knots[span + 1]
    for round_ in range(1, degree + 1):
        at = right if round_ > degree - ends else left
        for j in range(degree, round_ - 1, -1):
            low = knots[span - degree + j]
            high = knots[span + j - round_ + 1]
            t = (at - low) / (high - low)
            p, q = points[j - 1], points[j]
            points[j] = (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), p[2] + t * (q[2] - p[2]))
    return points[degree]


def _bezier(flattening: Flattening, curve: list[_Homogeneous], rational: bool) -> list[Point2]:
    degree = len(curve) - 1
    if degree == 1:
        flattening.spend(1)
        return [_projected(curve[1])]
    if not rational and degree <= 3:
        return flattening.bezier([(x, y) for x, y, _ in curve])
    count = flattening.pieces(_bend(curve, flattening.tolerance_mm), max(1, degree * degree // 8))
    return [*(_projected(_casteljau(curve, i / count)) for i in range(1, count)), _projected(curve[-1])]


def _bend(curve: list[_Homogeneous], tolerance: float) -> float:
    """Return a bound that plays the second derivative's part for a Bézier curve.

    Polynomial: d(d−1)·max|Δ²P|. Rational, with the points moved to their middle: the bound of J. Zheng and
    T. Sederberg, "Estimating tessellation parameter intervals for rational curves and surfaces", ACM
    Transactions on Graphics 19 (2000), recalled; the tests hold it against dense samples.
    """
    degree = len(curve) - 1
    flat = [_projected(p) for p in curve]
    mx = (min(p[0] for p in flat) + max(p[0] for p in flat)) / 2
    my = (min(p[1] for p in flat) + max(p[1] for p in flat)) / 2
    moved = [(x - mx * w, y - my * w, w) for x, y, w in curve]
    radius = max(math.hypot(x - mx, y - my) for x, y in flat)
    second = weight = 0.0
    for a, b, c in zip(moved, moved[1:], moved[2:], strict=False):
        second = max(second, math.hypot(a[0] - 2 * b[0] + c[0], a[1] - 2 * b[1] + c[1]))
        weight = max(weight, abs(a[2] - 2 * b[2] + c[2]))
    return degree * (degree - 1) * (second + max(0.0, radius - tolerance) * weight) / min(p[2] for p in curve)


def _casteljau(curve: list[_Homogeneous], t: float) -> _Homogeneous:
    points = curve
    while len(points) > 1:
        points = [
            (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), p[2] + t * (q[2] - p[2])) for p, q in pairwise(points)
        ]
    return points[0]


def _projected(point: _Homogeneous) -> Point2:
    x, y, w = point
    return (x, y) if w == 1.0 else (x / w, y / w)
