"""Ways across put together into places: one for each stretch of boundary that is narrow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_boundary import SMOOTH, Boundary
from lintsvc.measure.flat_weld import Floats, Ints, components


@dataclass(frozen=True, eq=False)
class Places:
    """`best` (k,): the shortest way of each place; `along` (k,): the longest way around the contour between
    the ends of a way in it, infinite between two contours; `spans` (k,): a stretch reaches halfway around."""

    best: Ints
    along: Floats
    spans: NDArray[np.bool_]


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
    ahead = np.where(turned & (ways.ci == ways.cj), ways.around - ways.ahead, ways.ahead)
    around = ways.around
    order = np.lexsort([ways.void, j, i, cj, ci])
    columns = np.column_stack([ci, cj, i, j, ways.void])[order]
    new = np.ones(len(order), bool)
    new[1:] = (columns[1:] != columns[:-1]).any(axis=1)
    key = np.empty(len(order), np.int64)
    key[order] = np.cumsum(new) - 1
    rows = columns[new]
    group, _ = components(len(rows), _linked(rows, edge))
    of = group[key]
    order = np.lexsort([i, j, ways.width.round(9), of])
    first = np.flatnonzero(np.diff(of[order], prepend=-1))
    # The way around between the two ends of a stretch of narrow place: halfway around the contour at most,
    # and that far where the stretch goes past halfway.
    least, most = np.minimum.reduceat(ahead[order], first), np.maximum.reduceat(ahead[order], first)
    half = around[order[first]] / 2
    shorter = np.maximum(np.minimum(least, 2 * half - least), np.minimum(most, 2 * half - most))
    # A hair of slack: a single way between two opposite points lies exactly halfway.
    spans = (least <= half * (1 + 1e-9)) & (most >= half * (1 - 1e-9))
    along = np.where(np.isinf(half), np.inf, np.where(spans, half, shorter))
    return Places(order[first], along, spans)


def _linked(rows: Ints, edge: Boundary) -> Ints:
    """Return pairs of rows (ci, cj, i, j, void), sorted, whose sides follow each other smoothly."""
    if not len(edge):
        return np.zeros((0, 2), np.int64)
    smooth = np.abs(edge.turn[edge.after]) < SMOOTH
    sided_i, sided_j = rows[:, 2] >= 0, rows[:, 3] >= 0
    step_i = np.where(sided_i & smooth[rows[:, 2]], edge.after[rows[:, 2]], -2)
    step_j = np.where(sided_j & smooth[rows[:, 3]], edge.after[rows[:, 3]], -2)
    back = edge.before[rows[:, 3]]
    back_j = np.where(sided_j & smooth[back], back, -2)
    keys = _keys(rows, rows[:, 2], rows[:, 3], len(edge))
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    pairs = []
    for i, j in ((step_i, rows[:, 3]), (rows[:, 2], step_j), (step_i, step_j), (step_i, back_j)):
        possible = np.flatnonzero((i != -2) & (j != -2))
        # Within one contour a pair stands with its lower side first.
        same = (rows[:, 0] == rows[:, 1]) & (i > j)
        wanted = _keys(rows, np.where(same, j, i), np.where(same, i, j), len(edge))[possible]
        slot = np.minimum(np.searchsorted(ordered, wanted), len(ordered) - 1)
        hit = ordered[slot] == wanted
        pairs.append(np.column_stack([possible[hit], order[slot[hit]]]))
    return np.concatenate(pairs)


def _keys(rows: Ints, i: Ints, j: Ints, sides: int) -> Ints:
    """Return one number for each pair of sides: contours of sides follow from them, circles are told by contour."""
    one = np.where(i >= 0, i, sides + rows[:, 0])
    other = np.where(j >= 0, j, sides + rows[:, 1])
    most = sides + int(rows[:, :2].max(initial=0)) + 1
    return (one * most + other) * 2 + rows[:, 4]
