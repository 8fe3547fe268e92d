"""How thick the screws are that arrive: the outer diameter of a thread lies below its nominal one."""

from __future__ import annotations

from dataclasses import dataclass

from lintsvc.handbook.clearance import screw_size
from lintsvc.model.source import Source
from lintsvc.order.fasteners import diameter_mm, pitch_mm

_METRIC = Source("memory", "ISO 965-1, 6g: limits of a screw's outer diameter by the standard's formulas; recalled.")
_INCH = Source("memory", "ASME B1.1, class 2A: limits of a screw's outer diameter by its formulas; recalled.")
_IN = 25.4


@dataclass(frozen=True, slots=True)
class Thickness:
    """Limits of a screw's outer diameter, mm."""

    least_mm: float
    most_mm: float
    source: Source

    @property
    def mean_mm(self) -> float:
        """In the middle."""
        return (self.least_mm + self.most_mm) / 2

    @property
    def tolerance_mm(self) -> float:
        """± about the middle."""
        return (self.most_mm - self.least_mm) / 2


def thickness(size: str) -> Thickness:
    """Return the limits of a screw's outer diameter: M4, #10, 1/4. Raises ValueError for what is none.

    >>> f"{thickness('M4').least_mm:.3f} {thickness('M4').most_mm:.3f}"
    '3.839 3.977'
    """
    d, p = diameter_mm(size), pitch_mm(size)
    if screw_size(size).startswith("M"):
        # Fundamental deviation es = -(15 + 11 P) µm, tolerance Td(6) = 180 P^(2/3) - 3.15 / sqrt(P) µm.
        most = d - (15 + 11 * p) / 1000
        return Thickness(most - (180 * p ** (2 / 3) - 3.15 / p**0.5) / 1000, most, _METRIC)
    inch, pitch = d / _IN, p / _IN
    # Td = 0.060 P^(2/3) in; the allowance is 0.3 of the pitch diameter's tolerance at an engagement of one diameter.
    allowance = 0.3 * (0.0015 * inch ** (1 / 3) + 0.0015 * inch**0.5 + 0.015 * pitch ** (2 / 3))
    most = d - allowance * _IN
    return Thickness(most - 0.060 * pitch ** (2 / 3) * _IN, most, _INCH)
