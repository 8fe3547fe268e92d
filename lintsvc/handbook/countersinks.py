"""Countersunk screw heads: diameter to the theoretical sharp corner, angle, height. Sizes in mm.

Two metric heads of the same screw differ (M5: 11.2 in ISO 10642, 10.0 in DIN 7991). Unless a head
is named, the largest that is usual is taken: ISO 10642 for metric, ASME B18.3 for inch screws.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, get_args

from lintsvc.handbook.clearance import screw_size
from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.source import Source
from lintsvc.model.units import MM_PER_UNIT

Head = Literal["iso-10642", "din-7991", "iso-7721", "asme-b18.3", "asme-b18.6.3"]
#: Which head stands in for a screw when none is named, first that has the size.
_USUAL: tuple[Head, ...] = ("iso-10642", "iso-7721", "asme-b18.3", "asme-b18.6.3")
#: Standards of screws that share the head of ISO 7721.
_SAME_HEAD = {"iso2009": "iso-7721", "iso7046": "iso-7721", "iso14581": "iso-7721", "iso14582": "iso-7721"}


@dataclass(frozen=True, slots=True)
class Countersink:
    """The head of one screw."""

    screw: str
    head: Head
    screw_mm: float
    angle_deg: float
    #: Across the theoretical sharp corner: what the countersink must take for a flush head.
    head_mm: float
    #: From the sharp corner to the shank; None where it was not read.
    height_mm: float | None
    source: Source

    def depth_in_hole_mm(self, hole_mm: float) -> float:
        """Return how deep the cone goes when it is sunk flush into a hole of this diameter (0 for a wide hole)."""
        return max(0.0, cone_depth_mm(self.head_mm, hole_mm, self.angle_deg))


def cone_depth_mm(wide_mm: float, narrow_mm: float, angle_deg: float) -> float:
    """Return the height of a cone between two diameters; `angle_deg` is the full angle."""
    return (wide_mm - narrow_mm) / 2 / math.tan(math.radians(angle_deg) / 2)


@lru_cache(maxsize=1)
def countersinks() -> tuple[Countersink, ...]:
    """Return every row, in the order of the table."""
    found = []
    for row in rows("countersinks.csv"):
        scale = MM_PER_UNIT[row["unit"]]
        found.append(
            Countersink(
                screw=row["screw"],
                head=row["source"],  # type: ignore[arg-type]  # the table holds only these
                screw_mm=float(row["diameter"]) * scale,
                angle_deg=float(row["angle_deg"]),
                head_mm=float(row["head_diameter"]) * scale,
                height_mm=float(row["head_height"]) * scale if row["head_height"] else None,
                source=named(row["source"]),
            )
        )
    return tuple(found)


def countersink(screw: str) -> Countersink:
    """Return the head of a screw: `M5`, `1/4`, `M5 DIN 7991`, `M3 ISO 14581`.

    Raises ValueError for a screw or a head that the handbook does not have.
    """
    size = screw_size(screw)
    squeezed = re.sub(r"[\s.-]", "", screw.lower())
    heads: tuple[Head, ...] = _USUAL
    for head in get_args(Head):
        if re.sub(r"[.-]", "", head) in squeezed:
            heads = (head,)
    for standard, head in _SAME_HEAD.items():
        if standard in squeezed:
            heads = (head,)  # type: ignore[assignment]
    for head in heads:
        for row in countersinks():
            if row.screw == size and row.head == head:
                return row
    known = ", ".join(dict.fromkeys(x.screw for x in countersinks() if x.head in heads))
    raise ValueError(f"there is no countersunk head for {screw!r} in the handbook; it has {known}")
