"""The unit of files that state none (STL, OBJ, PLY, many DXF): assumed by one rule, and said so.

The rule (common practice, no standard states one): such files are in millimetres unless the part
would then be too small to be one. Below `SMALLEST_MM` along its longest side a body or a flat is
taken to be in metres when that makes it at most 300 mm long, else in inches. Files that come out
larger than `LARGEST_MM` stay in millimetres; no common unit is smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from lintsvc.model.part import Unreadable
from lintsvc.model.units import MM_PER_UNIT, Units

Kind = Literal["body", "sheet"]
#: A longest side below this is too small to be a part that somebody sends out.
SMALLEST_MM = {"body": 1.0, "sheet": 3.0}
#: A longest side above this fits no machine of these processes.
LARGEST_MM = {"body": 2000.0, "sheet": 6000.0}
_METRES_UP_TO_MM = 300.0

UNIT_NAMES = {
    "micron": "microns", "mm": "millimetres", "cm": "centimetres", "m": "metres", "km": "kilometres",
    "mil": "thousandths of an inch", "in": "inches", "ft": "feet", "yd": "yards", "mile": "miles",
}  # fmt: skip


def guess_units(size: Sequence[float], kind: Kind, format_name: str = "The file") -> Units:
    """Return the unit assumed for a file that states none.

    `size`: extents of the part along x and y, or x, y and z, in the file's own units. `why` is a
    sentence for the report; `other` is the unit that it may have meant instead, None where no
    other common unit gives a sensible size.
    """
    longest = max((abs(x) for x in size), default=0.0)
    smallest, largest = SMALLEST_MM[kind], LARGEST_MM[kind]
    value, other = "mm", "in"
    if longest >= smallest:
        reason = f"millimetres are assumed: {_size(size, 'mm')}"
        if longest > largest:
            reason += f", which is too large for a part of this kind (over {largest:g} mm)"
            other = "micron"
    else:
        value, other = ("m", "in") if longest * 1000.0 <= _METRES_UP_TO_MM else ("in", "m")
        reason = f"{_size(size, 'mm')} would be too small for a part, so {UNIT_NAMES[value]} are assumed"
        reason += f": {_size(size, value)}"
    sensible = smallest <= longest * MM_PER_UNIT[other] <= largest
    why = f"{format_name} states no unit; {reason}."
    return Units(value, False, why, other if sensible else None, _scaled(size, other) if sensible else None)


def by_the_users_word(unit: str) -> Units:
    """Return the unit that the user named. Raises Unreadable for a name that is no unit."""
    if unit not in MM_PER_UNIT:
        raise Unreadable(f"There is no unit called {unit[:40]!r}.", remedy=f"Use one of {', '.join(MM_PER_UNIT)}.")
    return Units(unit, True, "by the user's word")


def _scaled(size: Sequence[float], unit: str) -> tuple[float, float, float]:
    scaled = [abs(x) * MM_PER_UNIT[unit] for x in size] + [0.0, 0.0]
    return scaled[0], scaled[1], scaled[2]


def _size(size: Sequence[float], unit: str) -> str:
    return " × ".join(f"{abs(x) * MM_PER_UNIT[unit]:.4g}" for x in size) + " mm"
