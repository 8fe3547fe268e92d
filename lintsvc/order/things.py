"""What an order is of: parts that go out, and things that are bought in, each with its shape and its mass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from lintsvc.model.choices import Choices
from lintsvc.model.material import Material
from lintsvc.model.report import PartReport
from lintsvc.order.file import BoughtEntry, PartEntry
from lintsvc.order.shape import NoShape, Shape, from_bytes
from lintsvc.rulebook.rule import CannotCheck
from lintsvc.rulebook.shop import NO_SHOP, Shop

if TYPE_CHECKING:
    from lintsvc.order.cost import Drivers


@dataclass(frozen=True, eq=False)
class OrderedPart:
    """A part of the order: its entry, its file, what the check said of it, and its shape where it has one."""

    entry: PartEntry
    path: Path
    choices: Choices
    report: PartReport
    shape_bytes: bytes | None
    #: What parts that arrived have shown of the shop.
    shop: Shop = NO_SHOP

    @property
    def id(self) -> str:
        """The part's id in the order."""
        return self.entry.id

    @cached_property
    def _shape(self) -> Shape | str:
        if self.shape_bytes is None:
            return "the part was not measured"
        try:
            return from_bytes(self.shape_bytes)
        except (NoShape, ValueError) as why:
            return str(why)

    @property
    def shape(self) -> Shape:
        """Its shape. Raises CannotCheck with the reason where there is none."""
        if isinstance(self._shape, str):
            raise CannotCheck(f"{self.id}: {self._shape}")
        return self._shape

    @property
    def drivers(self) -> Drivers | None:
        """What drives its cost; None where it was not measured."""
        return None if isinstance(self._shape, str) else self._shape.drivers

    @cached_property
    def material(self) -> Material | None:
        """The handbook's row for the material it was checked in."""
        from lintsvc.handbook.materials import material

        return None if self.report.material is None else material(self.report.material)

    @property
    def process(self) -> str | None:
        """The process it was checked for."""
        return self.report.process

    @property
    def mass_g(self) -> float | None:
        """Its mass; None where the material or the volume is not known."""
        if self.material is None or isinstance(self._shape, str) or self._shape.volume_mm3 is None:
            return None
        return self._shape.volume_mm3 * self.material.density_kg_m3.value * 1e-6


@dataclass(frozen=True, eq=False)
class BoughtThing:
    """A bought-in thing: its entry, and its envelope as a shape."""

    entry: BoughtEntry
    shape_bytes: bytes | None = None

    @property
    def id(self) -> str:
        """Its id in the order."""
        return self.entry.id

    @cached_property
    def shape(self) -> Shape:
        """Its envelope with its fixing holes. Raises CannotCheck for a file that gives none."""
        from lintsvc.order.bought import envelope

        try:
            return envelope(self.entry, self.shape_bytes)
        except (NoShape, ValueError) as why:
            named = self.id if self.entry.file is None else f"{self.id} ({self.entry.file})"
            raise CannotCheck(f"{named}: {why}") from None

    @property
    def mass_g(self) -> float | None:
        """Its mass as the order says it."""
        return self.entry.mass


Thing = OrderedPart | BoughtThing
