"""Distances found on flattened curves, corrected on the true arcs and circles."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.flat_boundary import Boundary
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import ARC, Curves
from lintsvc.measure.flat_segments import distance_to_segments
from lintsvc.measure.flat_weld import Floats, Ints

#: Projecting back and forth gains a digit in a few steps; between nearly concentric arcs it is slow,
#: and there the distance hardly depends on the place.
_STEPS = 60
_SETTLED_MM = 1e-7


def refine(
    curves: Curves,
    edge: Boundary,
    contours: tuple[Contour, ...],
    p: Floats,
    q: Floats,
    i: Ints,
    j: Ints,
    ci: Ints,
    cj: Ints,
) -> tuple[Floats, Floats]:
    """Return the ends (n, 2) of shortest ways near the given ones, on true arcs where the sides come from arcs."""
    one, other = _carriers(curves, edge, contours, i, ci), _carriers(curves, edge, contours, j, cj)
    # From a circle to a straight side or another circle the way is exact as found.
    k = np.flatnonzero((one[0] & (i >= 0)) | (other[0] & (j >= 0)))
    if not len(k):
        return p, q
    a, b = p[k], q[k]
    one, other = tuple(x[k] for x in one), tuple(x[k] for x in other)
    for _ in range(_STEPS):
        start = a
        a = _nearest(one, b, a)
        b = _nearest(other, a, b)
        if np.abs(a - start).max() < _SETTLED_MM:
            break
    # The points lie within the chord error of the arcs: a way whose length changes by more slid off to another place.
    before, after = np.hypot(*(q[k] - p[k]).T), np.hypot(*(b - a).T)
    kept = k[np.abs(after - before) <= 2 * curves.chord_mm]
    p, q = p.copy(), q.copy()
    held = np.isin(k, kept)
    p[kept], q[kept] = a[held], b[held]
    return p, q


_Carriers = tuple[Any, ...]


def _carriers(
    curves: Curves, edge: Boundary, contours: tuple[Contour, ...], side: Ints, contour: Ints
) -> _Carriers:
    """Return (round, centre, radius, start, sweep, a, b) of the curves that carry sides; a circle where side is −1."""
    count = len(side)
    centre, radius, start, sweep = np.zeros((count, 2)), np.zeros(count), np.zeros(count), np.full(count, 2 * np.pi)
    a, b = np.zeros((count, 2)), np.zeros((count, 2))
    has_side = side >= 0
    s = side[has_side]
    # The way may start at the corner between an arc and the side after it: then the arc counts too.
    before = edge.before[s]
    on_arc, arc_before = curves.kind[edge.curve[s]] == ARC, curves.kind[edge.curve[before]] == ARC
    s = np.where(~on_arc & arc_before, before, s)
    curve = edge.curve[s]
    is_round = np.zeros(count, bool)
    is_round[has_side] = curves.kind[curve] == ARC
    centre[has_side], radius[has_side] = curves.centre[curve], curves.radius[curve]
    start[has_side], sweep[has_side] = curves.start[curve], curves.sweep[curve]
    a[has_side], b[has_side] = edge.a[s], edge.b[s]
    circle = {x.number: x.circle for x in contours if x.circle is not None}
    for k in np.flatnonzero(~has_side).tolist():
        x, y, r = circle[int(contour[k])]
        centre[k], radius[k], is_round[k] = (x, y), r, True
    return is_round, centre, radius, start, sweep, a, b


def _nearest(carrier: _Carriers, to: Floats, before: Floats) -> Floats:
    """Return the points of carriers nearest to points (n, 2)."""
    is_round, centre, radius, start, sweep, a, b = carrier
    _, share = distance_to_segments(to, a, b)
    straight = a + share[:, None] * (b - a)
    off = to - centre
    # From the centre itself all points are equally near: stay.
    off = np.where((np.hypot(*off.T) > 1e-9)[:, None], off, before - centre)
    angle = np.arctan2(off[:, 1], off[:, 0])
    past = (angle - start) % (2 * np.pi)
    # Outside the arc, the nearer of its ends.
    beyond = past - sweep
    past = np.where(beyond > 0, np.where(beyond < (2 * np.pi - sweep) / 2, sweep, 0.0), past)
    angle = start + past
    bent = centre + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return np.asarray(np.where(is_round[:, None], bent, straight), float)
