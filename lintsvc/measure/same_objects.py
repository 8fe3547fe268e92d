"""Objects of a file that stand twice: the same triangles in the same place, under two numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def as_one(points: NDArray[Any], objects: NDArray[np.int32]) -> NDArray[np.int32]:
    """(m,) the object of each face, (m, 3, 3) its corners; one that stands where another stands gets that one's number.

    Each must have the other's triangles, wound as they are, to the last digit, in whatever order.
    """
    if not np.isfinite(points).all():
        return objects
    order = np.argsort(objects, kind="stable")
    numbers, starts, counts = np.unique(objects[order], return_index=True, return_counts=True)
    ordered = points if (order[1:] > order[:-1]).all() else points[order]
    low = np.minimum.reduceat(ordered.min(axis=1), starts)
    high = np.maximum.reduceat(ordered.max(axis=1), starts)
    # Only objects of as many faces and in one box can be the same; zero has one sign.
    alike: dict[tuple[Any, ...], list[int]] = {}
    for i in range(len(numbers)):
        alike.setdefault((int(counts[i]), *(low[i] + 0.0), *(high[i] + 0.0)), []).append(i)
    result = objects
    for group in alike.values():
        first: dict[bytes, int] = {}
        for i in group if len(group) > 1 else ():
            faces = slice(starts[i], starts[i] + counts[i])
            same = first.setdefault(_in_order(ordered[faces]).tobytes(), i)
            if same != i:
                result = result.copy() if result is objects else result
                result[order[faces]] = numbers[same]
    return result


def _in_order(triangles: NDArray[Any]) -> NDArray[np.float64]:
    """Triangles each from its lowest corner on, and sorted."""
    corners = triangles.astype(np.float64) + 0.0
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    second = _lower(b, a)
    lowest = np.where(_lower(c, np.where(second[:, None], b, a)), 2, second.astype(int))
    turned = np.take_along_axis(corners, ((lowest[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
    rows = turned.reshape(-1, 9)
    return np.ascontiguousarray(rows[np.lexsort(rows.T)])


def _lower(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) whether the first of two (n, 3) points comes first by x, then y, then z."""
    result = one[:, 2] < other[:, 2]
    for k in (1, 0):
        result = np.where(one[:, k] == other[:, k], result, one[:, k] < other[:, k])
    return result
