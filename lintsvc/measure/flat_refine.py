"""Distances found on flattened curves, corrected on the true arcs and circles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

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
    """Return the ends (n, 2) of shortest ways near the given ones, on true arcs where the sides come from arcs.

    `i`, `j` (n,): the sides a way ends on, −1 for a circle; `ci`, `cj` its contours.
    """
    p, q = p.copy(), q.copy()
    # From a circle to a straight side or another circle the way is exact as found.
    left = np.flatnonzero(_near_arc(curves, edge, i) | _near_arc(curves, edge, j))
    circles = {x.number: x.circle for x in contours if x.circle is not None}
    # First along the neighbours of the sides too; a way that slides off on them keeps to its own sides.
    for neighbours in (True, False):
        if not len(left):
            break
        one = _carriers(curves, edge, circles, i[left], ci[left], neighbours)
        other = _carriers(curves, edge, circles, j[left], cj[left], neighbours)
        a, b = _closest(one, other, p[left], q[left])
        before, after = np.hypot(*(q[left] - p[left]).T), np.hypot(*(b - a).T)
        # The points lie within the chord error of the arcs: a length that changes by more is of another place.
        held = np.abs(after - before) <= 2 * curves.chord_mm
        p[left[held]], q[left[held]] = a[held], b[held]
        left = left[~held]
    return p, q


class Carrier(NamedTuple):
    """Curves that carry the ends of ways: arcs and circles where `is_round`, else straight from `a` to `b`."""

    is_round: NDArray[np.bool_]
    centre: Floats
    radius: Floats
    start: Floats
    sweep: Floats
    a: Floats
    b: Floats


def _near_arc(curves: Curves, edge: Boundary, side: Ints) -> NDArray[np.bool_]:
    """True for sides that come from an arc, or stand next to one."""
    found = np.zeros(len(side), bool)
    s = side[side >= 0]
    if len(s):
        arc = curves.kind[edge.curve] == ARC
        found[side >= 0] = arc[s] | arc[edge.before[s]] | arc[edge.after[s]]
    return found


def _carriers(
    curves: Curves,
    edge: Boundary,
    circles: Mapping[int, tuple[float, float, float]],
    side: Ints,
    contour: Ints,
    neighbours: bool,
) -> list[Carrier]:
    """Return what carries each side: its own curve, and those of the two sides before and the two after it."""
    if not len(edge) or not neighbours:
        return [_carrier(curves, edge, circles, side, contour)]
    sides = [side]
    for step in (edge.before, edge.after):
        near = np.where(side >= 0, step[side], -1)
        sides += [near, np.where(side >= 0, step[near], -1)]
    return [_carrier(curves, edge, circles, x, contour) for x in sides]


def _carrier(
    curves: Curves,
    edge: Boundary,
    circles: Mapping[int, tuple[float, float, float]],
    side: Ints,
    contour: Ints,
) -> Carrier:
    count = len(side)
    made = Carrier(
        np.ones(count, bool), np.zeros((count, 2)), np.zeros(count), np.zeros(count), np.full(count, 2 * np.pi),
        np.zeros((count, 2)), np.zeros((count, 2)),
    )  # fmt: skip
    has_side = side >= 0
    s = side[has_side]
    curve = edge.curve[s]
    made.is_round[has_side] = curves.kind[curve] == ARC
    made.centre[has_side], made.radius[has_side] = curves.centre[curve], curves.radius[curve]
    made.start[has_side], made.sweep[has_side] = curves.start[curve], curves.sweep[curve]
    made.a[has_side], made.b[has_side] = edge.a[s], edge.b[s]
    for k in np.flatnonzero(~has_side).tolist():
        circle = circles[int(contour[k])]
        made.centre[k], made.radius[k] = circle[:2], circle[2]
    return made


def _closest(one: list[Carrier], other: list[Carrier], p: Floats, q: Floats) -> tuple[Floats, Floats]:
    """Project back and forth until nothing moves."""
    for _ in range(_STEPS):
        start, end = p, q
        p = _nearest(one, q, p)
        q = _nearest(other, p, q)
        if max(np.abs(p - start).max(), np.abs(q - end).max()) < _SETTLED_MM:
            break
    return p, q


def _nearest(carriers: list[Carrier], to: Floats, before: Floats) -> Floats:
    """Return the points of carriers nearest to points (n, 2)."""
    spots = np.stack([_on(x, to, before) for x in carriers])
    nearest = np.argmin(np.hypot(*np.moveaxis(spots - to, -1, 0)), axis=0)
    return np.asarray(spots[nearest, np.arange(len(to))], float)


def _on(carrier: Carrier, to: Floats, before: Floats) -> Floats:
    _, share = distance_to_segments(to, carrier.a, carrier.b)
    straight = carrier.a + share[:, None] * (carrier.b - carrier.a)
    off = to - carrier.centre
    # From the centre itself all points are equally near: stay.
    off = np.where((np.hypot(*off.T) > 1e-9)[:, None], off, before - carrier.centre)
    past = (np.arctan2(off[:, 1], off[:, 0]) - carrier.start) % (2 * np.pi)
    # Outside the arc, the nearer of its ends.
    beyond = past - carrier.sweep
    past = np.where(beyond > 0, np.where(beyond < (2 * np.pi - carrier.sweep) / 2, carrier.sweep, 0.0), past)
    angle = carrier.start + past
    bent = carrier.centre + carrier.radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return np.asarray(np.where(carrier.is_round[:, None], bent, straight), float)
