"""A point inside each polygon."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def inner_points(shapes: NDArray[Any]) -> NDArray[Any]:
    """Return a point inside each shape (n,).

    GEOS leaves processor flags behind on the way that numpy then reports as an overflow, though every point is right.
    """
    import shapely

    with np.errstate(all="ignore"):
        points: NDArray[Any] = shapely.point_on_surface(shapes)
    return points
