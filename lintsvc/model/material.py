"""A material as the handbook knows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lintsvc.model.choices import Process
from lintsvc.model.source import Source


@dataclass(frozen=True, slots=True)
class Value:
    """A material value with its source."""

    value: float
    source: Source


@dataclass(frozen=True, slots=True)
class Material:
    """One row of the handbook's materials. Values that are not known are None, never a guess."""

    id: str
    name: str
    #: aluminium, steel, stainless, copper, brass, acrylic, polycarbonate, pom, pvc, wood, soft, composite, nylon, tpu …
    family: str
    processes: tuple[Process, ...]
    #: One line: what it is good for.
    good_for: str
    density_kg_m3: Value
    youngs_modulus_gpa: Value | None = None
    yield_mpa: Value | None = None
    ultimate_mpa: Value | None = None
    #: Thicknesses that are commonly stocked: the metric series, and the inch series in inches.
    stock_mm: tuple[float, ...] = ()
    stock_in: tuple[float, ...] = ()
    stock_source: Source | None = None
    #: `yes`, `avoid` or `never`; why and what instead stand in `laser_why`.
    laser: Literal["yes", "avoid", "never"] = "yes"
    laser_why: str = ""
    laser_source: Source | None = None
    bendable: bool = False
    #: Whose gauges its sheet is sold by: stainless, steel, galvanised, aluminium. Empty where it is not sold by gauge.
    gauges: str = ""

    @property
    def all_stock_mm(self) -> tuple[float, ...]:
        """Both stock series in mm, thinnest first. Empty where nothing is known."""
        return tuple(sorted({*self.stock_mm, *(round(x * 25.4, 3) for x in self.stock_in)}))
