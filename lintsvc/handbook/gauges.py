"""Sheet gauges: a number that means another thickness for every kind of metal. Sizes in mm.

Thicknesses are those of the handbook's table. Three of its inch figures are misprints in the copy
that was read (stainless 5 and 21, steel 10); they are replaced by what its own millimetre column says.
The formulas give the same numbers and are here as a check: US standard gauge (ounces a square foot),
manufacturers' standard gauge (pounds a square foot / 41.82), American wire gauge.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Literal, cast, get_args

from lintsvc.handbook.materials import material, materials
from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import BadChoice
from lintsvc.model.material import Material, Value

Metal = Literal["stainless", "steel", "galvanised", "aluminium"]
_MM = 25.4
#: Zinc on both sides of galvanised sheet, by which its gauges are thicker, and the gauges it is made in (from memory).
_ZINC_OZ_FT2 = 2.5
_GALVANISED = range(8, 23)


@lru_cache(maxsize=1)
def _table() -> dict[int, dict[str, float]]:
    return {
        int(row["gauge"]): {
            **{metal: float(row[f"{metal}_in"]) * _MM for metal in ("stainless", "steel", "aluminium")},
            "ounces": float(row["us_standard_oz_ft2"]),
        }
        for row in rows("gauges.csv")
    }


def gauges() -> tuple[int, ...]:
    """Return the gauge numbers that the table has, thickest first."""
    return tuple(_table())


def gauge_thickness(gauge: int, metal: Metal) -> Value:
    """Return the thickness (mm) of a gauge. `metal`: whose gauges they are.

    Raises ValueError for a gauge or metal that the table does not have.
    """
    row = _table().get(gauge)
    if row is None:
        raise ValueError(f"there is no gauge {gauge} in the table; it has {min(_table())} to {max(_table())}")
    if metal not in get_args(Metal):
        raise ValueError(f"gauges are known for {', '.join(get_args(Metal))}; not for {metal}")
    if metal == "galvanised":
        if gauge not in _GALVANISED:
            raise ValueError(f"galvanised sheet is known in gauges {_GALVANISED[0]} to {_GALVANISED[-1]}, not {gauge}")
        ounces = row["ounces"] + _ZINC_OZ_FT2
        return Value(manufacturers_gauge_mm(ounces), named("galvanised-gauges"))
    return Value(row[metal], named("mh-gauges"))


def gauge_of(gauge: int, of: Material) -> Value:
    """Return the thickness (mm) of a gauge of a material. Raises ValueError where the material has none."""
    if not of.gauges:
        having = ", ".join(x.id for x in materials() if x.gauges)
        raise ValueError(
            f"no gauges are known for {of.name}; give its thickness as a length, like 2mm or 0.08in "
            f"(there are gauges for {having})"
        )
    return gauge_thickness(gauge, cast(Metal, of.gauges))


def with_gauge(choices: Choices) -> Choices:
    """Return the choices with the thickness that their gauge means in their material.

    Raises BadChoice where no material is given, or one without gauges: no table is taken unasked. Raises ValueError
    for a material that the handbook does not have.
    """
    if choices.gauge is None or choices.thickness_mm is not None:
        return choices
    if choices.material is None:
        sizes = ", ".join(
            f"{gauge_thickness(choices.gauge, x).value:.3f} mm in {x}"
            for x in cast(tuple[Metal, ...], get_args(Metal))
            if choices.gauge in _table() and (x != "galvanised" or choices.gauge in _GALVANISED)
        )
        why = f"a gauge is another thickness in every metal{f' ({choices.gauge} ga: {sizes})' if sizes else ''}"
        raise BadChoice("thickness", f"{why}; name the material too, or give the thickness as a length like 2mm")
    try:
        thickness = gauge_of(choices.gauge, material(choices.material)).value
    except ValueError as error:
        raise BadChoice("thickness", f"{choices.gauge} ga: {error}") from None
    return replace(choices, thickness_mm=round(thickness, 4))


def gauge_words(gauge: int, of: Material) -> str:
    """Return what a gauge was taken as.

    >>> gauge_words(16, material("steel-mild"))
    '16 ga mild steel: 1.519 mm'
    """
    name = of.name[0].lower() + of.name[1:]
    return f"{gauge} ga {name}: {gauge_of(gauge, of).value:.3f} mm"


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
