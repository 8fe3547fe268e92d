"""Clearance holes for screws: ISO 273, BS 4186, ASME B18.2.8. Sizes in mm.

ISO 273 and BS 4186 differ from M12 on (medium fit M12: 13.5 against 14). ISO 273 is used unless
the other is asked for by name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.material import Value
from lintsvc.model.units import MM_PER_UNIT

Fit = Literal["close", "normal", "loose"]
Table = Literal["iso-273", "bs-4186", "asme-b18.2.8"]


@dataclass(frozen=True, slots=True)
class ClearanceHoles:
    """Hole diameters for one screw. ISO calls them fine, medium, coarse; BS close, medium, free."""

    screw: str
    table: Table
    close: Value
    normal: Value
    loose: Value


@lru_cache(maxsize=1)
def clearance_tables() -> tuple[ClearanceHoles, ...]:
    """Return every row, in the order of the tables."""
    found = []
    for row in rows("clearance.csv"):
        origin, scale = named(row["source"]), MM_PER_UNIT[row["unit"]]
        close, normal, loose = (Value(float(row[x]) * scale, origin) for x in ("close", "normal", "loose"))
        found.append(ClearanceHoles(row["screw"], row["source"], close, normal, loose))  # type: ignore[arg-type]
    return tuple(found)


def screw_size(name: str) -> str:
    """Return the plain size of a screw or thread: `M6x1` gives `M6`, `1/4-20 UNC` gives `1/4`, `No. 10-32` `#10`.

    Raises ValueError for a name that is no screw size.
    """
    text = name.upper().replace('"', "").replace("″", "").strip()
    if match := re.match(r"M\s*(\d+(?:[.,]\d+)?)", text):
        return f"M{float(match[1].replace(',', '.')):g}"
    if match := re.match(r"(\d+/\d+)", text):
        return match[1]
    if match := re.match(r"(?:#|NO\.?)?\s*(\d+)(?:\s*-\s*\d+|\s|$)", text):
        return f"#{match[1]}"
    raise ValueError(f"{name!r} is no screw size; write it as M4, #10 or 1/4")


def clearance_hole(screw: str, fit: Fit = "normal", table: Table | None = None) -> Value:
    """Return the clearance hole (mm) for a screw, ISO 273 or ASME B18.2.8 by the screw's kind.

    Raises ValueError for a screw that the table does not have.
    """
    size = screw_size(screw)
    wanted = table or ("iso-273" if size.startswith("M") else "asme-b18.2.8")
    for holes in clearance_tables():
        if holes.screw == size and holes.table == wanted:
            return {"close": holes.close, "normal": holes.normal, "loose": holes.loose}[fit]
    known = ", ".join(x.screw for x in clearance_tables() if x.table == wanted)
    raise ValueError(f"{wanted} has no clearance hole for {screw!r}; it has {known}")
