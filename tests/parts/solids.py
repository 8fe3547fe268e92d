"""Solids divided into tetrahedra by hand: bars and brackets with known answers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Six tetrahedra of a cube, all with the diagonal 0-6.
_SPLIT = ((0, 1, 2, 6), (0, 2, 3, 6), (0, 3, 7, 6), (0, 7, 4, 6), (0, 4, 5, 6), (0, 5, 1, 6))
_CORNERS = ((0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1))


def bar(size: tuple[float, float, float], count: tuple[int, int, int]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return points and tetrahedra of a box from the origin, divided `count` times along each axis."""
    axes = [np.linspace(0, s, n + 1) for s, n in zip(size, count, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)
    i, j, k = (x.ravel() for x in np.meshgrid(*[np.arange(n) for n in count], indexing="ij"))
    ny, nz = count[1] + 1, count[2] + 1
    corner = [((i + a) * ny + (j + b)) * nz + (k + c) for a, b, c in _CORNERS]
    return points, np.vstack([np.column_stack([corner[x] for x in one]) for one in _SPLIT]).astype(np.int64)
