"""Writing what arrived parts have shown into a shop.toml: its other lines, comments and limits stay as they are."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from lintsvc.packet.arrival import Arrival
from lintsvc.rulebook.measured import Measured
from lintsvc.rulebook.shop import Arrived, Shop, parse_shop

_HEADER = re.compile(r"^\s*\[")
_OURS = re.compile(r"^\s*\[\[\s*(measured|arrived|counted)\s*\]\]\s*(?:#.*)?$")
_NOTE = "# Written by `lintsvc arrive`. Each figure is the mean of all that was measured so far."


class CountedBefore(Exception):
    """These results are in the shop.toml already: counted twice they would weigh double."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A figure as it is kept: the mean, the spread, and how many stand behind them."""

    key: tuple[str, str | None, str | None, str | None]
    offset: float
    spread: float
    sizes: int
    parts: int


def with_arrival(text: str, arrival: Arrival, results: str, sha256: str, shown: str = "shop.toml") -> str:
    """Return the text of a shop.toml with an arrival added to it. `results`, `sha256`: the table it comes from.

    Raises CountedBefore for a table that was added before, ShopError for a file that cannot be read.
    """
    shop = parse_shop(text, shown)
    for before in shop.counted:
        if before.sha256 == sha256:
            raise CountedBefore(f"{results} was counted before ({before.place}); nothing was added")
    measured = _pooled([_row_of(x) for x in shop.measured] + [_row_of(x) for x in arrival.learnt])
    arrived = _added([*shop.arrived, *arrival.counts])
    blocks = [_block("measured", _measured(x)) for x in measured]
    blocks += [_block("arrived", {**_narrow(key), "parts": parts, "bad": bad}) for key, (parts, bad) in arrived.items()]
    counted = [*((x.results, x.sha256) for x in shop.counted), (results, sha256)]
    blocks += [_block("counted", {"results": name, "sha256": digest}) for name, digest in counted]
    kept = _without_ours(text).rstrip("\n")
    new = "\n".join([*([kept, ""] if kept else []), _NOTE, "", *blocks])
    # What is written is read back: a figure that cannot be read must not be written.
    parse_shop(new, shown)
    return new


def _row_of(row: Measured) -> _Row:
    key = (row.what, row.process, row.material, row.supplier)
    return _Row(key, row.offset, row.spread, max(1, row.sizes), row.parts)


def _pooled(rows: Iterable[_Row]) -> list[_Row]:
    """Return one row a key: mean and standard deviation of all sizes together."""
    found: dict[tuple[str, str | None, str | None, str | None], _Row] = {}
    for row in rows:
        if row.key not in found:
            found[row.key] = row
            continue
        old = found[row.key]
        count = old.sizes + row.sizes
        mean = (old.offset * old.sizes + row.offset * row.sizes) / count
        # Sum of squares within both, and of both means about the new one.
        squares = old.spread**2 * (old.sizes - 1) + row.spread**2 * (row.sizes - 1)
        squares += old.sizes * (old.offset - mean) ** 2 + row.sizes * (row.offset - mean) ** 2
        spread = math.sqrt(squares / (count - 1)) if count > 1 else 0.0
        found[row.key] = _Row(row.key, mean, spread, count, old.parts + row.parts)
    return list(found.values())


def _added(rows: Iterable[Arrived]) -> dict[tuple[str | None, str | None, str | None], tuple[int, int]]:
    found: dict[tuple[str | None, str | None, str | None], tuple[int, int]] = {}
    for row in rows:
        key = (row.process, row.material, row.supplier)
        parts, bad = found.get(key, (0, 0))
        found[key] = (parts + row.parts, bad + row.bad)
    return found


def _narrow(key: tuple[str | None, str | None, str | None]) -> dict[str, object]:
    return {name: x for name, x in zip(("process", "material", "supplier"), key, strict=True) if x is not None}


def _measured(row: _Row) -> dict[str, object]:
    what, *kind = row.key
    process, material, supplier = kind
    return {
        "what": what,
        **_narrow((process, material, supplier)),
        # So fine that pooling again and again loses nothing that was measured.
        "offset": round(row.offset, 6) + 0.0,
        "spread": round(row.spread, 6),
        "sizes": row.sizes,
        "parts": row.parts,
    }


def _block(table: str, values: dict[str, object]) -> str:
    # TOML's basic strings and numbers are written as JSON's.
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    return "\n".join([f"[[{table}]]", *lines, ""])


def _without_ours(text: str) -> str:
    """Return the text without the tables that are written here, and without the line that introduces them."""
    kept: list[str] = []
    ours = False
    for line in text.splitlines():
        if _HEADER.match(line):
            ours = _OURS.match(line) is not None
        if not ours and line.strip() != _NOTE:
            kept.append(line)
    return "\n".join(kept)


def changes(before: Shop, after: Shop) -> list[str]:
    """Return in words what became of the figures."""
    old = {(x.what, x.process, x.material, x.supplier): x for x in before.measured}
    lines = []
    for row in after.measured:
        was = old.get((row.what, row.process, row.material, row.supplier))
        if was is None or was.sizes != row.sizes:
            lines.append(row.source.text)
    return lines
