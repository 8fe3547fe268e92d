"""Screws through clearance holes: how far hole positions may be off, and how stacks of tolerances add up."""

from __future__ import annotations

import math
from collections.abc import Iterable

from lintsvc.handbook.sources import named
from lintsvc.model.material import Value


def floating_fastener(hole_mm: float, fastener_mm: float) -> Value:
    """Return the position tolerance (diameter, mm) of each part when the screw passes both: T = H − F.

    `hole_mm` is the smallest hole, `fastener_mm` the largest screw (ASME Y14.5, appendix B).
    """
    return Value(hole_mm - fastener_mm, named("y14.5"))


def fixed_fastener(hole_mm: float, fastener_mm: float) -> Value:
    """Return the position tolerance (diameter, mm) of each part when one of them holds the screw: T = (H − F)/2."""
    return Value((hole_mm - fastener_mm) / 2, named("y14.5"))


def position_from_offset(dx_mm: float, dy_mm: float) -> float:
    """Return the position deviation (diameter, mm) of a centre that is off by dx, dy."""
    return 2 * math.hypot(dx_mm, dy_mm)


def worst_case(tolerances_mm: Iterable[float]) -> float:
    """Return the sum of ± tolerances: none can be exceeded."""
    return sum(abs(x) for x in tolerances_mm)


def root_sum_square(tolerances_mm: Iterable[float]) -> float:
    """Return the root of the summed squares: what independent, centred errors come to."""
    return math.sqrt(sum(x * x for x in tolerances_mm))
