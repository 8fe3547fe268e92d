"""Thin plates held along their whole edge, pushed evenly or in the middle: deflection and largest stress.

Small moves of a thin, even plate. Tables for the clamped rectangle are those of Timoshenko and Woinowsky-Krieger,
Theory of Plates and Shells, 2nd ed., tables 35 and 37, and of Roark's Formulas, table 11.4, case 8; from memory. The
tests hold them against a series of their own. Units: mm, N, MPa.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Short side by long side of the rows below; 0 is a strip of no end.
_RATIO = (0.0, 1 / 2.0, 1 / 1.8, 1 / 1.6, 1 / 1.4, 1 / 1.2, 1.0)
#: Clamped, pushed evenly: w = c q b^4 / D in the middle, m = c q b^2 in the middle of the long edge.
_EVEN_W = (0.00260, 0.00254, 0.00245, 0.00230, 0.00207, 0.00172, 0.00126)
_EVEN_M = (0.0833, 0.0829, 0.0812, 0.0780, 0.0726, 0.0639, 0.0513)
#: Clamped, pushed in the middle: w = c F b^2 / D, m = c F in the middle of the long edge, and what the clamp takes off
#: the moment under the force.
_POINT_W = (0.00725, 0.00722, 0.00720, 0.00712, 0.00691, 0.00647, 0.00560)
_POINT_M = (0.1680, 0.1674, 0.1667, 0.1651, 0.1604, 0.1490, 0.1257)
_UNDER = (0.067, 0.067, 0.068, 0.053, 0.011, -0.078, -0.238)
#: Simply supported, pushed in the middle: the same for the moment under the force (table 11.4, case 1b).
_UNDER_SUPPORTED = (1.0, 0.958, 0.927, 0.875, 0.789, 0.650, 0.435)
#: Terms of the double series each way: the deflection is then exact to its fourth digit.
_TERMS = 99


@dataclass(frozen=True, slots=True)
class Push:
    """A load square to the plate: `evenly` over its face, else in its middle, over a circle of radius `spread_mm`."""

    force_n: float
    evenly: bool
    spread_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class Bent:
    """Deflection in the middle, the largest stress, and whether that is at the edge."""

    deflection_mm: float
    stress_mpa: float
    at_edge: bool


def rigidity(young_mpa: float, poisson: float, thick_mm: float) -> float:
    """Return D = E t³ / (12 (1 − ν²)), N mm."""
    return young_mpa * thick_mm**3 / (12 * (1 - poisson**2))


def _small(spread_mm: float, thick_mm: float) -> float:
    """Return Roark's equivalent radius of a small loaded circle: stress does not grow without end under a point."""
    if spread_mm >= 0.5 * thick_mm:
        return spread_mm
    return math.sqrt(1.6 * spread_mm**2 + thick_mm**2) - 0.675 * thick_mm


def rectangle(
    sides_mm: tuple[float, float], thick_mm: float, young_mpa: float, poisson: float, clamped: bool, push: Push
) -> Bent:
    """Return how a rectangular plate gives way."""
    short, long = sorted(sides_mm)
    stiff = rigidity(young_mpa, poisson, thick_mm)
    if not clamped:
        return _supported(short, long, thick_mm, stiff, poisson, push)
    ratio = short / long

    def at(row: tuple[float, ...]) -> float:
        return float(np.interp(ratio, _RATIO, row))

    if push.evenly:
        pressure = push.force_n / (short * long)
        moment = at(_EVEN_M) * pressure * short**2
        return Bent(at(_EVEN_W) * pressure * short**4 / stiff, 6 * moment / thick_mm**2, True)
    edge = at(_POINT_M) * push.force_n
    under = _under(push, short, thick_mm, poisson, at(_UNDER))
    return Bent(at(_POINT_W) * push.force_n * short**2 / stiff, 6 * max(edge, under) / thick_mm**2, edge > under)


def _under(push: Push, short: float, thick: float, poisson: float, rest: float) -> float:
    """Return the moment (N) under a force in the middle."""
    spread = 2 * short / (math.pi * _small(push.spread_mm, thick))
    return push.force_n / (4 * math.pi) * ((1 + poisson) * math.log(spread) + rest)


def _supported(short: float, long: float, thick: float, stiff: float, poisson: float, push: Push) -> Bent:
    """Navier's double series (Timoshenko, art. 28 and 29): sines that are zero, and bend nothing, at the edges."""
    odd = np.arange(1, 2 * _TERMS, 2)
    m, n = np.meshgrid(odd, odd, indexing="ij")
    across, along = (m / short) ** 2, (n / long) ** 2
    sign = np.where((m + n) % 4 == 2, 1.0, -1.0)
    bulge = 1 / (across + along) ** 2
    if push.evenly:
        pressure = push.force_n / (short * long)
        terms = 16 * pressure / (math.pi**6 * stiff) * sign / (m * n) * bulge
        moment = stiff * math.pi**2 * float((terms * (across + poisson * along)).sum())
        return Bent(float(terms.sum()), 6 * moment / thick**2, False)
    deflection = 4 * push.force_n / (math.pi**4 * short * long * stiff) * float(bulge.sum())
    rest = float(np.interp(short / long, _RATIO, _UNDER_SUPPORTED))
    return Bent(deflection, 6 * _under(push, short, thick, poisson, rest) / thick**2, False)


def circle(radius_mm: float, thick_mm: float, young_mpa: float, poisson: float, clamped: bool, push: Push) -> Bent:
    """Return how a round plate gives way (Timoshenko, art. 16 to 19)."""
    stiff = rigidity(young_mpa, poisson, thick_mm)
    force, square = push.force_n, radius_mm**2
    if push.evenly:
        pressure = force / (math.pi * square)
        soft = 1.0 if clamped else (5 + poisson) / (1 + poisson)
        moment = pressure * square * (2 if clamped else 3 + poisson) / 16
        return Bent(soft * pressure * square**2 / (64 * stiff), 6 * moment / thick_mm**2, clamped)
    soft = 1.0 if clamped else (3 + poisson) / (1 + poisson)
    near = (1 + poisson) * math.log(radius_mm / _small(push.spread_mm, thick_mm))
    under = force / (4 * math.pi) * (near + (0.0 if clamped else 1.0))
    edge = force / (4 * math.pi) if clamped else 0.0
    return Bent(soft * force * square / (16 * math.pi * stiff), 6 * max(edge, under) / thick_mm**2, edge > under)
