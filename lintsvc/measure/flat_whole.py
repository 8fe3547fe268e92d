"""Contours that are narrow as a whole: how wide a circle fits inside them.

In a triangle, a drop or an egg no two stretches face each other for longer than they are apart, and still
there is no room in a small one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_weld import Floats

#: How near the search comes to the widest circle; in triangles and most other shapes without notches it is exact.
WITHIN_MM = 1e-3


@dataclass(frozen=True, slots=True)
class Whole:
    """The widest circle in a contour: its diameter, square to the boundary where it touches at `start`."""

    contour: int
    width_mm: float
    start: tuple[float, float]
    end: tuple[float, float]


def wholes_of(contours: Sequence[Contour], reach_mm: float, narrowest: Floats) -> list[Whole]:
    """Return the widest circle in each contour where it is no wider than `reach_mm`.

    `narrowest` (n,): the narrowest slot or neck of each contour; one that is narrower than the circle
    speaks for the contour. Drawn circles are left out: they are holes.
    """
    import shapely

    some = []
    for x in contours:
        # As wide as this the circle is at least, and in a shape without notches at most twice that.
        mean = 2.0 * x.area_mm2 / x.length_mm
        if x.circle is None and mean <= reach_mm and narrowest[x.number] > 2.0 * mean:
            some.append(x)
    if not some:
        return []
    shapes = np.array([x.polygon for x in some], object)
    sound = shapely.is_valid(shapes)
    radii = shapely.maximum_inscribed_circle(shapes[sound], tolerance=WITHIN_MM)
    found = []
    for x, ends in zip((x for x, ok in zip(some, sound, strict=True) if ok), radii, strict=True):
        ((cx, cy), (px, py)) = shapely.get_coordinates(ends).tolist()
        width = 2.0 * float(shapely.length(ends))
        if width <= min(reach_mm, narrowest[x.number]):
            found.append(Whole(x.number, width, (px, py), (2 * cx - px, 2 * cy - py)))
    return found
