"""Where a value comes from. Every limit, material value and table row carries one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SourceKind = Literal["standard", "handbook", "common-practice", "memory", "shop"]

#: Sources good enough for a rule of level `error`. The others make a warning at most,
#: unless the geometry itself is impossible.
FIRM_KINDS: frozenset[SourceKind] = frozenset({"standard", "handbook", "shop"})


@dataclass(frozen=True, slots=True)
class Source:
    """A named origin of a value, shown to the user beside it."""

    kind: SourceKind
    text: str
    #: ISO date on which the value was last compared with its origin, where it was.
    checked: str | None = None

    @property
    def firm(self) -> bool:
        """True for a standard, a handbook or the shop's own word."""
        return self.kind in FIRM_KINDS


COMMON_PRACTICE = Source("common-practice", "Common practice in the trade; no standard states it.")
FROM_MEMORY = Source("memory", "Recalled, not read in its source.")
GEOMETRY = Source("handbook", "Follows from the geometry; no table needed.")
