"""A limit: the value that a measurement is held against, for whom it holds, and its source."""

from __future__ import annotations

from dataclasses import dataclass

from lintsvc.model.source import Source


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of a rule's limit table.

    `material` is a material id (`aluminium-5052-h32`), a family (`aluminium`) or `any`;
    the closest row wins. `value` is in `unit`; with unit `x thickness` it is a factor of
    the sheet's thickness. `at_least_mm` is a floor under a factor. `thickness_mm` narrows
    the row to sheets from the first to the second thickness, both included.
    `name` tells apart several limits of one rule.
    """

    material: str
    value: float
    unit: str
    source: Source
    name: str = "limit"
    thickness_mm: tuple[float, float] | None = None
    at_least_mm: float = 0.0

    def of(self, thickness_mm: float | None) -> float:
        """Return the limit in its own unit, a thickness factor resolved to mm.

        Raises ValueError for a factor where the thickness is not known.
        """
        if self.unit != "x thickness":
            return self.value
        if thickness_mm is None:
            raise ValueError("this limit is a multiple of the sheet's thickness, and no thickness is given")
        return max(self.value * thickness_mm, self.at_least_mm)

    @property
    def resolved_unit(self) -> str:
        """The unit of what `of` returns."""
        return "mm" if self.unit == "x thickness" else self.unit
