"""Which of many points are one point, within a tolerance, in near-linear time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Forward half of the cells within two steps: a pair of cells is looked at once.
_AHEAD = [(dx, dy) for dx in range(3) for dy in range(-2, 3) if (dx, dy) > (0, 0)]
_MIX = np.uint64(0x9E3779B97F4A7C15)


def weld(points: Floats, tolerance: float) -> tuple[Ints, int]:
    """Return a label for each of (n, 2) points, and how many labels there are.

    Points closer than `tolerance` get one label, and so do points linked by a chain of such steps.
    Crowds inside one cell (side tolerance/√2) are compared with other cells by one of their points,
    which keeps time bounded whatever the drawing.

    >>> weld(np.array([[0.0, 0.0], [0.0, 0.0005], [1.0, 0.0]]), 0.001)[0].tolist()
    [0, 0, 1]
    """
    count = len(points)
    if not count:
        return np.zeros(0, np.int64), 0
    # From the corner of the drawing: far from the origin, cell numbers would not fit.
    cells = np.floor((points - points.min(axis=0)) / (tolerance / np.sqrt(2.0)))
    x, y = cells[:, 0].astype(np.int64), cells[:, 1].astype(np.int64)
    # Coordinates of cells do not fit into one integer side by side; a hash does, and distances settle the rest.
    keys, first, place = np.unique(_key(x, y), return_index=True, return_inverse=True)
    seat = points[first]
    pairs = []
    for dx, dy in _AHEAD:
        wanted = _key(x[first] + dx, y[first] + dy)
        slot = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        near = (keys[slot] == wanted) & (np.hypot(*(seat[slot] - seat).T) <= tolerance)
        pairs.append(np.column_stack([np.flatnonzero(near), slot[near]]))
    labels, total = components(len(keys), np.concatenate(pairs))
    return labels[place], total


def _key(x: Ints, y: Ints) -> NDArray[np.uint64]:
    return x.astype(np.uint64) * _MIX + (y.astype(np.uint64) ^ (y.astype(np.uint64) << np.uint64(32)))


def components(count: int, pairs: Ints) -> tuple[Ints, int]:
    """Return which connected group each of `count` things is in, joined by (m, 2) pairs, and how many groups.

    >>> components(4, np.array([[0, 2]]))[0].tolist()
    [0, 1, 0, 2]
    """
    # Only what is joined to something goes through the slow part.
    names, seat = np.unique(pairs, return_inverse=True)
    parent = list(range(len(names)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for a, b in seat.reshape(-1, 2).tolist():
        a, b = root(a), root(b)
        if a != b:
            parent[max(a, b)] = min(a, b)
    least = np.arange(count)
    least[names] = names[[root(i) for i in range(len(names))]]
    kept, labels = np.unique(least, return_inverse=True)
    return labels.astype(np.int64), len(kept)


def turned_components(count: int, pairs: Ints, turned: NDArray[np.bool_]) -> tuple[Ints, int, NDArray[np.bool_]]:
    """Return the groups as `components` does, and whether each thing stands the other way round than its group.

    `turned` (m,): the two of a pair stand the other way round to each other.
    """
    parent, other_way = list(range(count)), [False] * count

    def root(i: int) -> tuple[int, bool]:
        path, turn = [], False
        while parent[i] != i:
            path.append(i)
            i = parent[i]
        for k in reversed(path):
            turn ^= other_way[k]
            parent[k], other_way[k] = i, turn
        return i, turn

    for (a, b), turn in zip(pairs.tolist(), turned.tolist(), strict=True):
        (p, one), (q, other) = root(a), root(b)
        if p != q:
            parent[q], other_way[q] = p, one ^ other ^ turn
    ends = [root(i) for i in range(count)]
    kept, labels = np.unique(np.array([x for x, _ in ends], np.int64), return_inverse=True)
    return labels.astype(np.int64), len(kept), np.array([x for _, x in ends], bool)
