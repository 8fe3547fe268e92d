"""What a check changes of the rules, sent with it. Only workers know rules; here its shape is looked at."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from fnmatch import fnmatchcase
from typing import Any

from lintsvc.web.problems import Problem

LONGEST = 200_000
_KEYS: Mapping[str, tuple[str, ...]] = {
    "limits": ("rule", "name", "text", "source", "material", "process", "place"),
    "levels": ("rule", "level", "material", "process", "place"),
    "measured": ("what", "process", "material", "supplier", "offset", "spread", "sizes", "parts", "place"),
}
#: What an entry cannot be without: texts, and numbers.
_TEXTS: Mapping[str, tuple[str, ...]] = {"limits": ("rule", "text"), "levels": ("rule", "level"), "measured": ("what",)}
_NUMBERS: Mapping[str, tuple[str, ...]] = {"measured": ("offset", "spread", "sizes", "parts")}


def read_changes(text: str, catalogue: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the changes as JSON types, empty for none. Raises Problem for what can be none.

    `catalogue`: what the workers say of their rules, None as long as none has started.
    """
    if not text:
        return {}
    try:
        data = json.loads(text) if len(text) <= LONGEST else None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict) or any(x not in _KEYS for x in data):
        raise _wrong("changes is a JSON object with the lists limits, levels and measured")
    ids = [x["id"] for x in (catalogue or {}).get("rules", ())]
    for table, keys in _KEYS.items():
        entries = data.get(table, [])
        if not isinstance(entries, list) or not all(isinstance(x, dict) for x in entries):
            raise _wrong(f"{table} is a list of objects")
        for entry in entries:
            _look_at(entry, table, keys, ids)
    return {table: data[table] for table in _KEYS if data.get(table)}


def _look_at(entry: Mapping[str, Any], table: str, keys: tuple[str, ...], ids: list[str]) -> None:
    unknown = [x for x in entry if x not in keys]
    if unknown:
        raise _wrong(f"there is no key {unknown[0][:40]!r} in {table}; there are {', '.join(keys)}")
    texts, numbers = _TEXTS[table], _NUMBERS.get(table, ())
    if not all(isinstance(entry.get(x), str) for x in texts):
        raise _wrong(f"an entry of {table} needs {' and '.join(texts)}, as text")
    if not all(_is_number(entry.get(x)) for x in numbers):
        raise _wrong(f"an entry of {table} needs {', '.join(numbers)}, as numbers")
    rule = entry.get("rule")
    if rule is None:
        return
    if ids and not any(x == rule or (table == "levels" and fnmatchcase(x, rule)) for x in ids):
        raise _wrong(f"there is no rule {rule[:80]!r} here; /rules lists them")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _wrong(why: str) -> Problem:
    return Problem("bad-choice", why, choice="changes")
