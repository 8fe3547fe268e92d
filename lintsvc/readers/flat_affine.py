"""Flat affine maps, and whether one keeps circles round."""

from __future__ import annotations

import math
from typing import NamedTuple

from lintsvc.model.sheet import Point2

#: Two scales closer than this (relative) are one scale: a circle under them is off by less than 1e-6 of its radius.
SAME_SCALE = 1e-6


class Similarity(NamedTuple):
    """A map that keeps shapes: turned by `angle_deg` counter-clockwise after an optional mirroring of y."""

    scale: float
    angle_deg: float
    mirrored: bool


class Affine(NamedTuple):
    """x' = a x + c y + e, y' = b x + d y + f: the order of SVG's `matrix()`."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def at(self, x: float, y: float) -> Point2:
        """Return the image of a point."""
        return self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f

    def of(self, inner: Affine) -> Affine:
        """Return the map that applies `inner` first and this one after it.

        >>> Affine(e=5.0).of(Affine(a=2.0)).at(1.0, 0.0)
        (7.0, 0.0)
        """
        a, b, c, d, e, f = self
        return Affine(
            a * inner.a + c * inner.b,
            b * inner.a + d * inner.b,
            a * inner.c + c * inner.d,
            b * inner.c + d * inner.d,
            a * inner.e + c * inner.f + e,
            b * inner.e + d * inner.f + f,
        )

    def similarity(self) -> Similarity | None:
        """Return how it scales and turns where it keeps shapes, else None (also for a map onto a line)."""
        size = math.hypot(self.a, self.b)
        slack = SAME_SCALE * size
        if not size or not math.isfinite(size):
            return None
        angle = math.degrees(math.atan2(self.b, self.a))
        if abs(self.a - self.d) <= slack and abs(self.b + self.c) <= slack:
            return Similarity(size, angle, False)
        if abs(self.a + self.d) <= slack and abs(self.b - self.c) <= slack:
            return Similarity(size, angle, True)
        return None

    def largest_stretch(self) -> float:
        """Return the longest that a vector of length 1 becomes (the larger singular value)."""
        a, b, c, d = self[:4]
        half_sum = math.hypot(a + d, b - c) / 2
        half_difference = math.hypot(a - d, b + c) / 2
        return half_sum + half_difference


IDENTITY = Affine()


def scaling(factor: float) -> Affine:
    """Return the map that scales both directions alike."""
    return Affine(a=factor, d=factor)
