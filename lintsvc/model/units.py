"""Length units: their size in mm, and whether a file stated its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

#: Length of one unit in mm. The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
MM_PER_UNIT: Mapping[str, float] = MappingProxyType(
    {
        "micron": 1e-3,
        "mm": 1.0,
        "cm": 10.0,
        "dm": 100.0,
        "m": 1000.0,
        "km": 1e6,
        "mil": 0.0254,
        # CSS and SVG: 96 to the inch.
        "px": 25.4 / 96,
        "in": 25.4,
        "ft": 304.8,
        "yd": 914.4,
        "mile": 1609344.0,
    }
)


@dataclass(frozen=True, slots=True)
class Units:
    """The unit that a part was read in.

    `stated` is True when the file (or the user) says so. `other` names the unit that an
    unstated file might have meant instead, `other_size_mm` the size it would then have.
    """

    value: str
    stated: bool
    why: str
    other: str | None = None
    other_size_mm: tuple[float, float, float] | None = None

    @property
    def mm_per_unit(self) -> float:
        """Length of one file unit in mm."""
        return MM_PER_UNIT[self.value]
