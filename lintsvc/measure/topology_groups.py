"""Scattered bad edges and faces put together: one group for each connected defect."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lintsvc.measure.compiled import compiled
from lintsvc.measure.joining import numbered, unite

Ints = NDArray[np.int32]


def components(count: int, first: ArrayLike, second: ArrayLike) -> Ints:
    """Label `count` things that hang together by pairs (first, second): (count,) labels from 0, by lowest member."""
    labels: Ints = _components(count, np.asarray(first, np.int32), np.asarray(second, np.int32))
    return labels


def by_label(labels: NDArray[Any]) -> list[NDArray[np.int64]]:
    """Return for each label that occurs the positions that bear it, in order of label."""
    if not len(labels):
        return []
    order = np.argsort(labels, kind="stable")
    cuts = np.flatnonzero(np.diff(labels[order])) + 1
    return np.split(order, cuts)


def over_corners(corners: NDArray[Any]) -> Ints:
    """Label the rows of (k, n) vertex numbers, faces or edges, that hang together over a vertex."""
    rows = len(corners)
    place = corners.ravel()
    count = int(place.max(initial=-1)) + 1
    if count > 8 * rows:
        # A few rows of a large mesh: not a label for each of its vertices.
        used, place = np.unique(place, return_inverse=True)
        count = len(used)
    row = np.repeat(np.arange(rows), corners.shape[1])
    return components(rows + count, row, rows + place.ravel())[:rows]


@compiled
def _components(count: int, first: Any, second: Any) -> Any:
    parent = np.arange(count).astype(np.int32)
    for i in range(first.shape[0]):
        unite(parent, first[i], second[i])
    return numbered(parent)[0]
