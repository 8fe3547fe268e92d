"""Does it stand: centre of gravity over the rests, the angle at which it tips, the push that tips it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Why feet give no balance.
ON_A_LINE = "the rests lie on one line or point, so nothing keeps it from tipping"
#: Standard acceleration of free fall, m/s2 (exact by convention, 3rd CGPM, 1901).
G = 9.80665


@dataclass(frozen=True)
class Lump:
    """A mass with its centre, in the assembly's frame (z up)."""

    name: str
    mass_g: float
    centre_mm: tuple[float, float, float]


@dataclass(frozen=True)
class Balance:
    """How the assembly stands. `tip_deg` is below zero when it falls over by itself."""

    mass_g: float
    centre_mm: tuple[float, float, float]
    #: Corners of the support, counter-clockwise.
    support_mm: tuple[tuple[float, float], ...]
    #: From the centre of gravity to the nearest edge of the support; negative outside.
    margin_mm: float
    tip_deg: float
    #: The edge it tips over.
    edge_mm: tuple[tuple[float, float], tuple[float, float]]

    def push_n(self, height_mm: float) -> float:
        """Return the level push, at a height above the floor, that begins to tip it over its weakest edge (N)."""
        return self.mass_g / 1000 * G * self.margin_mm / height_mm


def total(lumps: Sequence[Lump]) -> tuple[float, tuple[float, float, float]]:
    """Return mass (g) and centre of gravity (mm). Raises ValueError when there is no mass."""
    mass = sum(x.mass_g for x in lumps)
    if mass <= 0:
        raise ValueError("no mass is known, so there is no centre of gravity")
    centre = sum((np.asarray(x.centre_mm) * x.mass_g for x in lumps), np.zeros(3)) / mass
    return mass, (float(centre[0]), float(centre[1]), float(centre[2]))


def balance(lumps: Sequence[Lump], feet_mm: Floats) -> Balance:
    """Return how masses stand on feet (n, 3), all at about one height.

    Raises ValueError when the feet span no area: it then stands on a line or a point.
    """
    from scipy.spatial import ConvexHull, QhullError

    mass, centre = total(lumps)
    feet = np.asarray(feet_mm, np.float64)
    floor = float(feet[:, 2].mean())
    try:
        hull = ConvexHull(feet[:, :2])
    except (QhullError, ValueError):
        raise ValueError(ON_A_LINE) from None
    corners = feet[hull.vertices][:, :2]
    # Each row of `equations` is an outward normal and an offset: below zero is inside.
    distance = -(hull.equations[:, :2] @ np.asarray(centre[:2]) + hull.equations[:, 2])
    nearest = int(distance.argmin())
    margin = float(distance[nearest])
    height = centre[2] - floor
    tip = math.degrees(math.atan2(margin, height)) if height > 0 else 90.0
    one, two = (feet[i][:2] for i in hull.simplices[nearest])
    return Balance(
        mass,
        centre,
        tuple((float(x), float(y)) for x, y in corners),
        margin,
        tip,
        ((float(one[0]), float(one[1])), (float(two[0]), float(two[1]))),
    )
