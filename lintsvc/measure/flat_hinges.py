"""Living hinges: fields of long parallel slits whose webs are meant to twist and bend."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lintsvc.measure.flat_contours import Contour

#: A slit is at least so many times as long as wide.
_SLENDER = 8.0
#: So many slits of one direction make a hinge.
_LEAST = 8
#: Slits run alike within this (degrees).
_ALIKE_DEG = 2.0


def hinge_slits(cutouts: Sequence[Contour]) -> frozenset[int]:
    """Return the numbers of the contours that are slits of a living hinge."""
    numbers, angles = [], []
    for contour in cutouts:
        points = np.asarray(contour.points, float)
        if len(points) < 3:
            continue
        about = points - points.mean(axis=0)
        # Longest and shortest way across, by the directions in which the corners spread.
        _, _, ways = np.linalg.svd(about, full_matrices=False)
        long, short = np.ptp(about @ ways.T, axis=0)
        if long >= _SLENDER * max(short, 1e-9):
            numbers.append(contour.number)
            angles.append(np.degrees(np.arctan2(ways[0, 1], ways[0, 0])) % 180.0)
    if len(numbers) < _LEAST:
        return frozenset()
    turn = np.abs(np.subtract.outer(angles, angles))
    alike = np.minimum(turn, 180.0 - turn) <= _ALIKE_DEG
    many = alike.sum(axis=1) >= _LEAST
    return frozenset(n for n, keep in zip(numbers, many, strict=True) if keep)
