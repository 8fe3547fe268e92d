"""`shop.toml`: what parts that arrived have shown of a shop, and its own limits.

[[measured]]                    # written by `lintsvc arrive`
what = "hole"                   # hole: diameter; bend: angle; length; thickness
process = "sheet"
material = "aluminium-5052-h32" # left out: any
supplier = "laser"              # left out: any
offset = -0.15                  # measured less meant: mm, degrees for a bend
spread = 0.04                   # standard deviation
sizes = 24
parts = 6

[[arrived]]                     # how many parts of one kind came, and how many could not be used
process = "sheet"
parts = 40
bad = 1

[[counted]]                     # tables of results that are in these figures already
results = "results.csv"
sha256 = "…"

[limits] and [levels]           # as in lintsvc.toml, see `lintsvc.rulebook.adjust`
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lintsvc.model.choices import PROCESSES
from lintsvc.model.material import Value
from lintsvc.model.meant import meant
from lintsvc.model.source import Source
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, read_adjustments
from lintsvc.rulebook.measured import WHATS, Measured, What, closest
from lintsvc.rulebook.rule import RuleError
from lintsvc.text_file import NoText, read_text_file

_TABLES: Mapping[str, tuple[str, ...]] = {
    "measured": ("what", "process", "material", "supplier", "offset", "spread", "sizes", "parts"),
    "arrived": ("process", "material", "supplier", "parts", "bad"),
    "counted": ("results", "sha256"),
}
_NUMBERS = ("offset", "spread", "sizes", "parts", "bad")
_LARGEST_BYTES = 1_000_000


class ShopError(Exception):
    """The file cannot be used. Names the file, the line, and what would be right."""


@dataclass(frozen=True, slots=True)
class Arrived:
    """How many parts of one kind came, and how many of them could not be used."""

    process: str | None
    material: str | None
    supplier: str | None
    parts: int
    bad: int
    place: str = ""


@dataclass(frozen=True, slots=True)
class Counted:
    """A table of results that is in the figures already."""

    results: str
    sha256: str
    place: str


@dataclass(frozen=True)
class Shop:
    """One shop.toml. `NO_SHOP` where there is none."""

    measured: tuple[Measured, ...] = ()
    arrived: tuple[Arrived, ...] = ()
    #: What it changes of the rules' limits and levels.
    limits: Adjustments = NO_ADJUSTMENTS
    counted: tuple[Counted, ...] = ()

    def adjustments(self, supplier: str | None = None) -> Adjustments:
        """Return what it changes of a part's check, its figures among it: those of its supplier, the last of equals.

        Without one, figures that name a supplier count where all name the same.
        """
        named = {x.supplier for x in self.measured} - {None}
        if supplier is None and len(named) == 1:
            (supplier,) = named
        mine = sorted((x for x in self.measured if x.supplier in (None, supplier)), key=lambda x: x.supplier or "")
        return replace(self.limits, measured=tuple(replace(x, supplier=None) for x in mine))

    def figure(
        self, what: What, process: str | None, material: str | None = None, supplier: str | None = None
    ) -> Measured | None:
        """Return what such sizes came out at: the row that says most of it; None where nobody measured any."""
        rows = [x for x in self.measured if x.what == what]
        return closest(rows, process, material, supplier)

    def bad_share(self, process: str | None, material: str | None, supplier: str | None) -> Value | None:
        """Return the chance that a part is bad: (bad + 1) / (parts + 2), since none of few is not never."""
        row = closest(self.arrived, process, material, supplier)
        if row is None:
            return None
        share = (row.bad + 1) / (row.parts + 2)
        text = f"The shop's own, {row.place}: {row.bad} of {row.parts} parts were bad; (bad + 1)/(parts + 2) is taken."
        return Value(share, Source("shop", text))


NO_SHOP = Shop()


def read_shop(path: Path, shown: str = "") -> Shop:
    """Read a shop.toml, named `shown` in errors and sources. Raises ShopError."""
    shown = shown or path.name
    try:
        text = read_text_file(path, shown, what="a shop.toml", most_bytes=_LARGEST_BYTES)
    except NoText as error:
        raise ShopError(str(error)) from None
    return parse_shop(text, shown)


def parse_shop(text: str, shown: str = "shop.toml") -> Shop:
    """Read the text of a shop.toml. Raises ShopError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ShopError(f"{shown}: {error}") from None
    lines = key_lines(text)

    def place(*keys: str | int) -> str:
        line = line_of(keys, lines)
        return f"{shown}, line {line}" if line else shown

    known = (*_TABLES, "limits", "levels")
    for key in data:
        if key not in known:
            where = place(key) if (key,) in lines else place(key, 0)
            raise ShopError(f"{where}: there is no key {key!r} here; {meant(key, known)}")
    try:
        adjustments = read_adjustments(data, place)
    except RuleError as error:
        raise ShopError(str(error)) from None
    measured = [_measured(x, where) for x, where in _entries(data, "measured", place)]
    arrived = [_arrived(x, where) for x, where in _entries(data, "arrived", place)]
    counted = [
        Counted(str(x.get("results", "")), str(x.get("sha256", "")), where)
        for x, where in _entries(data, "counted", place)
    ]
    return Shop(tuple(measured), tuple(arrived), adjustments, tuple(counted))


def _entries(data: Mapping[str, Any], table: str, place: Any) -> list[tuple[Mapping[str, Any], str]]:
    entries = data.get(table, [])
    if not isinstance(entries, list) or not all(isinstance(x, Mapping) for x in entries):
        raise ShopError(f"{place(table)}: write [[{table}]], once for each entry")
    found = []
    for i, entry in enumerate(entries):
        for key, value in entry.items():
            here = place(table, i, key)
            if key not in _TABLES[table]:
                raise ShopError(f"{here}: there is no key {key!r} here; {meant(key, _TABLES[table])}")
            if key in _NUMBERS:
                if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                    raise ShopError(f"{here}: {key} is a number")
                whole = key in ("sizes", "parts", "bad")
                if (whole and (value != int(value) or value < 0)) or (key == "spread" and value < 0):
                    raise ShopError(f"{here}: {key} is {'a whole number' if whole else 'a number'}, 0 or more")
            elif not isinstance(value, str):
                raise ShopError(f"{here}: {key} is a text")
            if key == "process" and value not in PROCESSES:
                raise ShopError(f"{here}: {value!r} is no process; it may be {', '.join(PROCESSES)}")
        found.append((entry, place(table, i)))
    return found


def _measured(entry: Mapping[str, Any], place: str) -> Measured:
    what = entry.get("what")
    if what not in WHATS:
        raise ShopError(f"{place}: what is {', '.join(WHATS)}; not {what!r}")
    if "offset" not in entry:
        raise ShopError(f"{place}: the key 'offset' is missing")
    if abs(entry["offset"]) > 20:
        raise ShopError(f"{place}: an offset of {entry['offset']:g} is no deviation; it is measured less meant")
    return Measured(
        what,
        entry.get("process"),
        entry.get("material"),
        entry.get("supplier"),
        float(entry["offset"]),
        float(entry.get("spread", 0.0)),
        int(entry.get("sizes", 0)),
        int(entry.get("parts", 0)),
        place,
    )


def _arrived(entry: Mapping[str, Any], place: str) -> Arrived:
    parts, bad = int(entry.get("parts", 0)), int(entry.get("bad", 0))
    if bad > parts:
        raise ShopError(f"{place}: {bad} of {parts} parts cannot be bad")
    return Arrived(entry.get("process"), entry.get("material"), entry.get("supplier"), parts, bad, place)
