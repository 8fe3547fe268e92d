"""Laser cutting: the width of the kerf by family of material and thickness. Sizes in mm. All common practice."""

from __future__ import annotations

from dataclasses import dataclass

from lintsvc.handbook.sources import named
from lintsvc.model.material import Material, Value

_METALS = frozenset({"aluminium", "steel", "stainless", "copper", "brass"})


@dataclass(frozen=True, slots=True)
class Kerf:
    """The usual range of a kerf."""

    least: Value
    most: Value

    @property
    def usual_mm(self) -> float:
        """The middle of the range."""
        return (self.least.value + self.most.value) / 2


def kerf(material: Material, thickness_mm: float) -> Kerf:
    """Return the usual kerf: fibre laser for metals, CO2 laser for plastics, wood and soft sheet.

    Raises ValueError for a material that must not or should not be cut by laser.
    """
    if material.laser != "yes":
        raise ValueError(f"{material.name} is not cut by laser: {material.laser_why}")
    if material.family in _METALS:
        # 0.1 to 0.2 mm to 3 mm, 0.3 to 0.5 mm from 10 mm; straight in between.
        share = min(1.0, max(0.0, (thickness_mm - 3.0) / 7.0))
        least, most = 0.1 + 0.2 * share, 0.2 + 0.3 * share
    else:
        least, most = 0.15, 0.30
    return Kerf(Value(least, named("practice")), Value(most, named("practice")))


def least_inside_radius_mm(kerf_mm: float) -> float:
    """Return the smallest inside corner radius that a beam leaves: half of its kerf."""
    return kerf_mm / 2
