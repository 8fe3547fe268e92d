"""What sizes of parts that arrived came out at: how far beside what was meant, and how many stand behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, TypeVar, get_args

from lintsvc.model.material import Value
from lintsvc.model.source import Source

What = Literal["hole", "bend", "length", "thickness"]
WHATS: tuple[What, ...] = get_args(What)
UNIT: Mapping[What, str] = {"hole": "mm", "bend": "deg", "length": "mm", "thickness": "mm"}
#: Fewer sizes than this say little about the spread of a process.
LEAST_FOR_SPREAD = 10


@dataclass(frozen=True, slots=True)
class Measured:
    """What sizes of one kind came out at: the mean of measured less meant, and its standard deviation."""

    what: What
    process: str | None
    material: str | None
    supplier: str | None
    offset: float
    spread: float
    sizes: int
    parts: int
    #: Where it stands in its file.
    place: str = ""

    @property
    def unit(self) -> str:
        """mm, or deg."""
        return UNIT[self.what]

    @property
    def source(self) -> Source:
        """The shop's own word, with how much stands behind it."""
        way = {
            "hole": ("small", "large"),
            "bend": ("open", "closed"),
            "length": ("short", "long"),
            "thickness": ("thin", "thick"),
        }[self.what][self.offset > 0]
        unit = "°" if self.unit == "deg" else " mm"
        named = {"hole": "holes", "bend": "bends", "length": "lengths", "thickness": "thicknesses"}[self.what]
        counts = f"{self.sizes} {named} measured on {self.parts} part{'' if self.parts == 1 else 's'}"
        came = f"came out {abs(self.offset):.3g}{unit} {way}" if self.offset else "came out as meant"
        return Source("shop", f"The shop's own, {self.place}: {counts} {came}, spread {self.spread:.2g}{unit}.")

    @property
    def value(self) -> Value:
        """The offset with its source."""
        return Value(self.offset, self.source)

    @property
    def tolerance(self) -> Value | None:
        """Three standard deviations, ±; None where too few sizes stand behind it."""
        return None if self.sizes < LEAST_FOR_SPREAD else Value(3 * self.spread, self.source)


class Narrowed(Protocol):
    """A row that may hold for one process, material or supplier only."""

    @property
    def process(self) -> str | None: ...
    @property
    def material(self) -> str | None: ...
    @property
    def supplier(self) -> str | None: ...


Row = TypeVar("Row", bound=Narrowed)


def closest(rows: Sequence[Row], process: str | None, material: str | None, supplier: str | None) -> Row | None:
    """Return the row that names most of what is asked, the later of equals; None where none fits."""
    best: tuple[int, Row] | None = None
    for row in rows:
        pairs = ((row.supplier, supplier), (row.material, material), (row.process, process))
        if any(said is not None and said != asked for said, asked in pairs):
            continue
        weight = sum(2**i for i, (said, _) in enumerate(reversed(pairs)) if said is not None)
        if best is None or weight >= best[0]:
            best = (weight, row)
    return None if best is None else best[1]
