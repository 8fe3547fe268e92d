"""Sheet gauges: a number that means another thickness for every kind of metal. Sizes in mm.

Thicknesses are those of the handbook's table. Three of its inch figures are misprints in the copy
that was read (stainless 5 and 21, steel 10); they are replaced by what its own millimetre column says.
The formulas give the same numbers and are here as a check: US standard gauge (ounces a square foot),
manufacturers' standard gauge (pounds a square foot / 41.82), American wire gauge.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.material import Value

Metal = Literal["stainless", "steel", "aluminium"]
_MM = 25.4


@lru_cache(maxsize=1)
def _table() -> dict[int, dict[str, float]]:
    return {
        int(row["gauge"]): {metal: float(row[f"{metal}_in"]) * _MM for metal in ("stainless", "steel", "aluminium")}
        for row in rows("gauges.csv")
    }


def gauges() -> tuple[int, ...]:
    """Return the gauge numbers that the table has, thickest first."""
    return tuple(_table())


def gauge_thickness(gauge: int, metal: Metal) -> Value:
    """Return the thickness (mm) of a gauge. `metal` is the family of the material.

    Raises ValueError for a gauge or metal that the table does not have.
    """
    row = _table().get(gauge)
    if row is None:
        raise ValueError(f"there is no gauge {gauge} in the table; it has {min(_table())} to {max(_table())}")
    if metal not in row:
        raise ValueError(f"gauges are known for {', '.join(row)}; not for {metal}")
    return Value(row[metal], named("mh-gauges"))


def nearest_gauge(thickness_mm: float, metal: Metal) -> int:
    """Return the gauge whose thickness is nearest. Raises ValueError for a metal without gauges."""
    return min(gauges(), key=lambda gauge: abs(gauge_thickness(gauge, metal).value - thickness_mm))


def us_standard_gauge_mm(ounces_per_square_foot: float) -> float:
    """Return the thickness of a United States standard gauge from its weight (15 USC 206: 640 oz to the inch)."""
    return ounces_per_square_foot / 640.0 * _MM


def manufacturers_gauge_mm(ounces_per_square_foot: float) -> float:
    """Return the thickness of steel sheet of that weight, at 41.82 lb a square foot to the inch."""
    return ounces_per_square_foot / 16.0 / 41.82 * _MM


def american_wire_gauge_mm(gauge: int) -> float:
    """Return the thickness of an American wire gauge, used for aluminium sheet: 0.005 in · 92^((36 − n)/39)."""
    return float(0.005 * 92 ** ((36 - gauge) / 39) * _MM)
