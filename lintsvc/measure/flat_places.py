"""Ways across put together into places: one for each stretch of boundary that is narrow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_boundary import SMOOTH, Boundary
from lintsvc.measure.flat_weld import Floats, Ints, turned_components

#: Ways that differ by less are equally short: programs round coordinates to 0.0001 mm, which must not move a place.
_AS_SHORT_MM = 2.5e-4


@dataclass(frozen=True, eq=False)
class Places:
    """`best` (k,): the shortest way of each place, which runs from `p` to `q` (k, 2): where several are as short,
    as between straight sides, halfway between them. `along` (k,): the longest way around the contour between the
    ends of a way in the place, infinite between two contours."""

    best: Ints
    p: Floats
    q: Floats
    along: Floats


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways across: from `p` to `q` (n, 2). `i`, `j` (n,): the sides they start and end on, −1 for a circle;
    `ci`, `cj`: contours; `void` (n,): across a void; `ahead` (n,): how far along the contour q lies from p,
    of `around` (n,) in all; 0 of infinite between two contours."""

    p: Floats
    q: Floats
    i: Ints
    j: Ints
    ci: Ints
    cj: Ints
    void: NDArray[np.bool_]
    ahead: Floats
    around: Floats

    def __len__(self) -> int:
        return len(self.i)

    @property
    def width(self) -> Floats:
        """(n,) length of each way."""
        return np.asarray(np.hypot(*(self.q - self.p).T), float)

    def only(self, which: NDArray[np.bool_] | Ints) -> Ways:
        """Return some of them."""
        return Ways(*(getattr(self, x)[which] for x in Ways.__dataclass_fields__))


def places_of(ways: Ways, edge: Boundary) -> Places:
    """Group ways between the same two sides, and between sides that follow each other smoothly."""
    # A way and its way back are one pair. A circle has no sides and keeps the place −1.
    turned = (ways.ci > ways.cj) | ((ways.ci == ways.cj) & (ways.i > ways.j))
    i, j = np.where(turned, ways.j, ways.i), np.where(turned, ways.i, ways.j)
    ci, cj = np.where(turned, ways.cj, ways.ci), np.where(turned, ways.ci, ways.cj)
    order = np.lexsort([ways.void, j, i, cj, ci])
    columns = np.column_stack([ci, cj, i, j, ways.void])[order]
    new = np.ones(len(order), bool)
    new[1:] = (columns[1:] != columns[:-1]).any(axis=1)
    key = np.empty(len(order), np.int64)
    key[order] = np.cumsum(new) - 1
    rows = columns[new]
    links, crossed = _linked(rows, edge)
    group, _, back = turned_components(len(rows), links, crossed)
    of = group[key]
    # How far along the contour the one side of a place lies from the other, by one of the two ways around.
    around = ways.around
    ahead = np.where((turned ^ back[key]) & (ways.ci == ways.cj), around - ways.ahead, ways.ahead)
    order = np.lexsort([i, j, ways.width.round(9), of])
    first = np.flatnonzero(np.diff(of[order], prepend=-1))
    # The way around between the two ends of a stretch of narrow place: halfway around the contour at most,
    # and that far where the stretch goes past halfway.
    least, most = np.minimum.reduceat(ahead[order], first), np.maximum.reduceat(ahead[order], first)
    half = around[order[first]] / 2
    shorter = np.maximum(np.minimum(least, 2 * half - least), np.minimum(most, 2 * half - most))
    spans = (least <= half) & (most >= half)
    along = np.where(np.isinf(half), np.inf, np.where(spans, half, shorter))
    p, q = _halfway(ways, order[first], of)
    return Places(order[first], p, q, along)


def _halfway(ways: Ways, best: Ints, of: Ints) -> tuple[Floats, Floats]:
    """Return the ends of the shortest way of each place, halfway along those that are as short, where that is one."""
    width, run = ways.width, ways.q - ways.p
    if not len(best):
        return ways.p, ways.q
    short = np.flatnonzero(width <= width[best][of] + _AS_SHORT_MM)
    place = of[short]
    main = run[best][place]
    back = ((run[short] * main).sum(axis=1) < 0)[:, None]
    start, end = (np.where(back, x[short], y[short]) for x, y in ((ways.q, ways.p), (ways.p, ways.q)))
    # The first and the last of them, looking along the stretch, square to the way.
    off = start + end - (ways.p + ways.q)[best][place]
    order = np.lexsort([main[:, 0] * off[:, 1] - main[:, 1] * off[:, 0], place])
    first = np.flatnonzero(np.diff(place[order], prepend=-1))
    last = np.append(first[1:], len(order)) - 1
    p, q = ((x[order[first]] + x[order[last]]) / 2 for x in (start, end))
    one = (np.abs(np.hypot(*(q - p).T) - width[best]) <= _AS_SHORT_MM)[:, None]
    return np.where(one, p, ways.p[best]), np.where(one, q, ways.q[best])


def _linked(rows: Ints, edge: Boundary) -> tuple[Ints, NDArray[np.bool_]]:
    """Return pairs of rows (ci, cj, i, j, void), sorted, whose sides follow each other smoothly.

    With them, whether the two of a pair have their sides the other way round.
    """
    if not len(edge):
        return np.zeros((0, 2), np.int64), np.zeros(0, bool)
    smooth = np.abs(edge.turn[edge.after]) < SMOOTH
    sided_i, sided_j = rows[:, 2] >= 0, rows[:, 3] >= 0
    step_i = np.where(sided_i & smooth[rows[:, 2]], edge.after[rows[:, 2]], -2)
    step_j = np.where(sided_j & smooth[rows[:, 3]], edge.after[rows[:, 3]], -2)
    back = edge.before[rows[:, 3]]
    back_j = np.where(sided_j & smooth[back], back, -2)
    keys = _keys(rows, rows[:, 2], rows[:, 3], len(edge))
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    pairs, crossed = [], []
    for i, j in ((step_i, rows[:, 3]), (rows[:, 2], step_j), (step_i, step_j), (step_i, back_j)):
        possible = np.flatnonzero((i != -2) & (j != -2))
        # Within one contour a pair stands with its lower side first.
        swap = (rows[:, 0] == rows[:, 1]) & (i > j)
        wanted = _keys(rows, np.where(swap, j, i), np.where(swap, i, j), len(edge))[possible]
        slot = np.minimum(np.searchsorted(ordered, wanted), len(ordered) - 1)
        hit = ordered[slot] == wanted
        pairs.append(np.column_stack([possible[hit], order[slot[hit]]]))
        crossed.append(swap[possible[hit]])
    return np.concatenate(pairs), np.concatenate(crossed)


def _keys(rows: Ints, i: Ints, j: Ints, sides: int) -> Ints:
    """Return one number for each pair of sides: contours of sides follow from them, circles are told by contour."""
    one = np.where(i >= 0, i, sides + rows[:, 0])
    other = np.where(j >= 0, j, sides + rows[:, 1])
    most = sides + int(rows[:, :2].max(initial=0)) + 1
    return (one * most + other) * 2 + rows[:, 4]
