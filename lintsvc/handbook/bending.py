"""Bending sheet: allowance, setback, deduction, K-factor, least radius, shortest flange. Lengths mm, angles degrees.

Angles are the angle bent *through* (90 for an L). A bend is a tube of inside radius R and wall t; its
neutral line lies at R + K·t. Flat length is the sum of the straight pieces and of the allowances.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.material import Value
from lintsvc.model.source import Source

_INCH_MM = 25.4
#: A sheet this much thicker than a column of the table still counts to it: 1.6 mm is sold as 1/16 in.
_SAME_THICKNESS = 1.03

#: What stands in for t in L = (a·T + 1.57·R) at 90°: K = a / (pi/2). By material id or family.
_HANDBOOK_A: dict[str, tuple[float, str]] = {
    "copper": (0.55, "mh-bend-soft"),
    "brass": (0.64, "mh-bend-half"),
    "aluminium": (0.64, "mh-bend-half"),
    "steel": (0.64, "mh-bend-half"),
    "stainless": (0.71, "bend-stainless"),
}


def bend_allowance(angle_deg: float, radius_mm: float, thickness_mm: float, k: float) -> float:
    """Return the length of the neutral line in a bend: θ·(R + K·t)."""
    return math.radians(angle_deg) * (radius_mm + k * thickness_mm)


def outside_setback(angle_deg: float, radius_mm: float, thickness_mm: float) -> float:
    """Return the distance from the end of the straight to where the outer faces meet: (R + t)·tan(θ/2).

    Beyond 90° the outer faces meet far away, or never; sizes are then taken to the outermost point of
    the bend, whose setback is R + t. Raises ValueError outside 0 to 180.
    """
    if not 0 <= angle_deg <= 180:
        raise ValueError(f"an angle bent through is 0 to 180 degrees, not {angle_deg:g}")
    return (radius_mm + thickness_mm) * math.tan(math.radians(min(angle_deg, 90.0)) / 2)


def bend_deduction(angle_deg: float, radius_mm: float, thickness_mm: float, k: float) -> float:
    """Return what to take off the sum of the outside sizes: 2·setback − allowance."""
    return 2 * outside_setback(angle_deg, radius_mm, thickness_mm) - bend_allowance(
        angle_deg, radius_mm, thickness_mm, k
    )


@dataclass(frozen=True, slots=True)
class BendIn:
    """One bend of a strip, for the flat length and back."""

    angle_deg: float
    radius_mm: float
    k: float


def flat_length(outside_mm: Sequence[float], bends: Sequence[BendIn], thickness_mm: float) -> float:
    """Return the flat length of a strip from its outside sizes, one more than bends.

    Raises ValueError when the counts do not fit.
    """
    _check_counts(outside_mm, bends)
    deductions = (bend_deduction(x.angle_deg, x.radius_mm, thickness_mm, x.k) for x in bends)
    return sum(outside_mm) - sum(deductions)


def straight_lengths(outside_mm: Sequence[float], bends: Sequence[BendIn], thickness_mm: float) -> tuple[float, ...]:
    """Return the straight pieces between the bends; a negative one means that two bends run into each other."""
    _check_counts(outside_mm, bends)
    setbacks = [outside_setback(x.angle_deg, x.radius_mm, thickness_mm) for x in bends]
    before, after = [0.0, *setbacks], [*setbacks, 0.0]
    return tuple(size - a - b for size, a, b in zip(outside_mm, before, after, strict=True))


def outside_sizes(between_lines_mm: Sequence[float], bends: Sequence[BendIn], thickness_mm: float) -> tuple[float, ...]:
    """Return the finished outside sizes of a strip from the flat: distances from end to bend line to end.

    A bend line is the middle of its bend in the flat. Inverse of `straight_lengths` and `flat_length`.
    """
    _check_counts(between_lines_mm, bends)
    grow = [
        outside_setback(x.angle_deg, x.radius_mm, thickness_mm)
        - bend_allowance(x.angle_deg, x.radius_mm, thickness_mm, x.k) / 2
        for x in bends
    ]
    before, after = [0.0, *grow], [*grow, 0.0]
    return tuple(size + a + b for size, a, b in zip(between_lines_mm, before, after, strict=True))


def _check_counts(lengths: Sequence[float], bends: Sequence[BendIn]) -> None:
    if len(lengths) != len(bends) + 1:
        raise ValueError(f"{len(bends)} bends part a strip into {len(bends) + 1} lengths, not {len(lengths)}")


def k_factor(
    material: str, radius_mm: float, thickness_mm: float, shop_k: float | None = None, *, family: str | None = None
) -> Value:
    """Return the K-factor (0 to 0.5 of the thickness, from the inside face) with its source.

    The shop's own value wins. Else the handbook's, by material id or family; it gives one value a
    metal, for every R/t. For a metal that it does not name: DIN 6935, by R/t, from memory. Raises
    ValueError for a thickness that is not positive or a K outside 0 to 1.
    """
    if shop_k is not None:
        if not 0 < shop_k < 1:
            raise ValueError(f"a K-factor lies between 0 and 1, not {shop_k:g}")
        return Value(shop_k, Source("shop", "The shop's own K-factor."))
    for key in (material, family, material.split("-")[0]):
        if key in _HANDBOOK_A:
            a, origin = _HANDBOOK_A[key]
            return Value(a / (math.pi / 2), named(origin))
    return k_factor_din_6935(radius_mm, thickness_mm)


def k_factor_din_6935(radius_mm: float, thickness_mm: float) -> Value:
    """Return the K-factor by R/t: half of 0.65 + 0.5·log10(R/t), at most 0.5. For steel; recalled, not read."""
    if thickness_mm <= 0:
        raise ValueError("a thickness is positive")
    ratio = radius_mm / thickness_mm
    k = 1.0 if ratio > 5 else 0.65 + 0.5 * math.log10(max(ratio, 0.1))
    return Value(max(0.0, min(1.0, k)) / 2, named("din-6935"))


def faa_allowance(angle_deg: float, radius_mm: float, thickness_mm: float) -> Value:
    """Return the bend allowance by the aircraft formula, (0.01743·R + 0.0078·t) a degree: K = 0.447."""
    return Value((0.01743 * radius_mm + 0.0078 * thickness_mm) * angle_deg, named("faa-bend"))


@dataclass(frozen=True, slots=True)
class RadiusRow:
    """Least inside radius, in thicknesses, of one material in sheet up to a thickness."""

    material: str
    up_to_mm: float
    radius_per_thickness: float
    source: Source


@lru_cache(maxsize=1)
def bend_radius_rows() -> tuple[RadiusRow, ...]:
    """Return the table row by row: a thickness between two columns counts to the thicker one."""
    found = []
    for row in rows("bend_radii.csv"):
        origin = named(row["source"])
        for column, cell in row.items():
            if "/" in column and cell:
                over, under = column.split("/")
                up_to = int(over) / int(under) * _INCH_MM * _SAME_THICKNESS
                found.append(RadiusRow(row["material"], up_to, float(cell), origin))
    return tuple(found)


def least_bend_radius(material: str, thickness_mm: float, *, family: str | None = None) -> Value:
    """Return the least inside radius (mm) for a bend of 90° (Aluminum Association; else common practice).

    Raises ValueError for a material or a thickness that the table does not have.
    """
    for key in (material, family, material.split("-")[0]):
        for row in bend_radius_rows():
            if row.material == key and thickness_mm <= row.up_to_mm:
                return Value(row.radius_per_thickness * thickness_mm, row.source)
    raise ValueError(f"no least bend radius is known for {material} at {thickness_mm:g} mm")


def die_opening(thickness_mm: float) -> tuple[Value, Value]:
    """Return the V-die openings for air bending, narrowest and usual: 6 t and 8 t, above 8 mm 10 t and 12 t."""
    narrow, usual = (6.0, 8.0) if thickness_mm <= 8 else (10.0, 12.0)
    return Value(narrow * thickness_mm, named("practice")), Value(usual * thickness_mm, named("practice"))


def shortest_flange(die_opening_mm: float, angle_deg: float = 90.0) -> Value:
    """Return the shortest outside leg that still rests on both shoulders of a V-die: V/2 / cos(θ/2).

    At 90° that is 0.707 V.
    """
    return Value(die_opening_mm / 2 / math.cos(math.radians(angle_deg) / 2), named("geometry"))


def bending_force(strength_mpa: float, length_mm: float, thickness_mm: float, die_opening_mm: float) -> Value:
    """Return the force (N) of V-bending, 1.33·Rm·w·t²/V; a textbook formula, recalled."""
    force = 1.33 * strength_mpa * length_mm * thickness_mm**2 / die_opening_mm
    return Value(force, named("groover"))
