"""Polygons into triangles: each becomes a fan from its first corner, in the file's order."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def fan(corner: NDArray[Any], sizes: NDArray[np.int64]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Return triangles (m, 3), and for each the number of its polygon.

    `corner`: the corners of all polygons, one after the other; `sizes` (k,): corners of each, at
    least three. A fan is exact for convex plane polygons, the only ones these formats allow.
    """
    count = sizes - 2
    polygon = np.repeat(np.arange(len(sizes)), count)
    start = np.cumsum(sizes) - sizes
    step = np.arange(len(polygon)) - np.repeat(np.cumsum(count) - count, count)
    origin = start[polygon]
    return np.stack((corner[origin], corner[origin + step + 1], corner[origin + step + 2]), axis=1), polygon
