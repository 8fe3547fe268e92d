"""What the check finds in real drawings and solids: read from `real_findings.toml`, and compared.

Each finding there was held by other means before it was written down: docs/real-drawings.md says by what.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).with_suffix(".toml")
#: Room for a value, as a share of it, and for a place, mm: what the steps of sampling move.
VALUE, PLACE_MM = 0.01, 0.5

#: Rule, level, measured value (None where there is none), point (empty where there is none).
Pin = tuple[str, str, float | None, tuple[float, ...]]


@dataclass(frozen=True)
class RealFile:
    """A file of the open corpus, how it is checked, and what is found in it."""

    path: str
    choices: dict[str, Any]
    findings: list[Pin]
    not_checked: list[str]
    #: Words of the reason why a solid is no sheet part; empty where it is one, or a drawing.
    no_sheet_because: str


@cache
def real_files() -> tuple[RealFile, ...]:
    rows = tomllib.loads(DATA.read_text("utf-8"))["file"]
    return tuple(
        RealFile(
            x["path"],
            x.get("choices", {}),
            [(rule, level, value if value != "" else None, tuple(at)) for rule, level, value, at in x["findings"]],
            x.get("not_checked", []),
            x.get("no_sheet_because", ""),
        )
        for x in rows
    )


def pins_of(part: dict[str, Any]) -> list[Pin]:
    """What is found in a part of a JSON report, in an order that no rank changes."""
    found: list[Pin] = []
    for x in part["findings"]:
        value = None if x.get("measured") is None else float(x["measured"]["value"])
        at = (x.get("where") or {}).get("point") or ()
        found.append((x["rule"], x["level"], value, tuple(float(c) for c in at)))
    return in_order(found)


def in_order(pins: list[Pin]) -> list[Pin]:
    return sorted(pins, key=lambda x: (x[0], x[1], round(x[2] or 0.0, 3), tuple(round(c, 1) for c in x[3])))


def same(one: Pin, other: Pin) -> bool:
    """True for one finding seen twice: one rule and level, nearly one value, one place."""
    if one[:2] != other[:2] or (one[2] is None) != (other[2] is None) or len(one[3]) != len(other[3]):
        return False
    if one[2] is not None and other[2] is not None and abs(one[2] - other[2]) > VALUE * abs(other[2]) + 1e-4:
        return False
    return all(abs(a - b) <= PLACE_MM for a, b in zip(one[3], other[3], strict=True))


def unlike(found: list[Pin], pinned: list[Pin]) -> tuple[list[Pin], list[Pin]]:
    """Findings that are not pinned, and pins that are not found."""
    left = list(pinned)
    new = []
    for x in found:
        match = next((y for y in left if same(x, y)), None)
        if match is None:
            new.append(x)
        else:
            left.remove(match)
    return new, left
