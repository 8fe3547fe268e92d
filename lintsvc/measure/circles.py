"""Circles through points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def fit_circle(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Least-squares circle through (n, 2) points (I. Kåsa, 1976): centre and radius."""
    middle = points.mean(axis=0)
    x = points - middle
    system = np.column_stack([2 * x, np.ones(len(x))])
    solution = np.linalg.lstsq(system, (x**2).sum(axis=1), rcond=None)[0]
    centre: NDArray[np.float64] = solution[:2]
    return centre + middle, float(np.sqrt(max(0.0, solution[2] + centre @ centre)))
