"""What a finish adds to each face of a part, mm. A hole loses twice that in diameter."""

from __future__ import annotations

from dataclasses import dataclass

from lintsvc.model.source import COMMON_PRACTICE, Source


@dataclass(frozen=True, slots=True)
class Finish:
    """How far a face moves outward: least and most, mm."""

    name: str
    least_mm: float
    most_mm: float
    source: Source


_ANODISE = Source("memory", "MIL-A-8625F, Table IV: 1.8 to 25.4 µm thick, about half of it outward; recalled.")
_HARD = Source("memory", "MIL-A-8625F, 3.7.2.1: 51 µm ± 20 % nominal, about half of it outward; recalled.")
_POWDER = Source("common-practice", "Powder coat of 60 to 120 µm on each face; no standard states it.")
_PAINT = Source("common-practice", "Wet paint of 25 to 60 µm on each face; no standard states it.")
_ZINC = Source("memory", "ISO 2081, ISO 4042: zinc of 5 to 12 µm; recalled.")
_NONE = Source("common-practice", COMMON_PRACTICE.text)

FINISHES: dict[str, Finish] = {
    x.name: x
    for x in (
        Finish("none", 0.0, 0.0, _NONE),
        Finish("anodise", 0.0009, 0.0127, _ANODISE),
        Finish("hard-anodise", 0.0204, 0.0306, _HARD),
        Finish("powder-coat", 0.060, 0.120, _POWDER),
        Finish("paint", 0.025, 0.060, _PAINT),
        Finish("zinc", 0.005, 0.012, _ZINC),
        Finish("dye", 0.0, 0.0, _NONE),
    )
}


def finish(name: str | None) -> Finish:
    """Return the finish with this name; None is no finish. Raises ValueError for one that is not known."""
    found = FINISHES.get(name or "none")
    if found is None:
        raise ValueError(f"there is no finish {name!r}; there are {', '.join(FINISHES)}")
    return found
