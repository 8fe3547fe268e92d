"""Materials by id: density, stiffness, strength, stock thicknesses, and whether a laser may cut them."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

from lintsvc.handbook.sources import source
from lintsvc.model.material import Material, Value
from lintsvc.model.source import Source

#: What people call a material where the handbook's id says more.
_OTHER_NAMES: Mapping[str, str] = {
    "5052": "aluminium-5052-h32",
    "5052-h32": "aluminium-5052-h32",
    "aluminum-5052-h32": "aluminium-5052-h32",
    "6061": "aluminium-6061-t6",
    "6061-t6": "aluminium-6061-t6",
    "aluminum-6061-t6": "aluminium-6061-t6",
    "3003": "aluminium-3003-h14",
    "3003-h14": "aluminium-3003-h14",
    "aluminum-3003-h14": "aluminium-3003-h14",
    "304": "stainless-304",
    "stainless": "stainless-304",
    "mild-steel": "steel-mild",
    "steel": "steel-mild",
    "galvanised-steel": "steel-galvanised",
    "galvanized-steel": "steel-galvanised",
    "steel-galvanized": "steel-galvanised",
    "nylon": "pa12",
    "pmma": "acrylic",
    "pc": "polycarbonate",
    "acetal": "pom",
    "vinyl": "pvc",
    "plywood": "birch-plywood",
    "fr4": "g10",
    "carbon-fibre": "carbon-plate",
}


@lru_cache(maxsize=1)
def _by_id() -> dict[str, Material]:
    data = tomllib.loads((files(__package__) / "materials.toml").read_text("utf-8"))
    return {key: _material(key, row) for key, row in data.items()}


def material(id: str) -> Material:
    """Return the material with this id.

    Raises ValueError for an id that the handbook does not have, naming the closest ones.

    >>> material("pa12").family
    'nylon'
    """
    found = _by_id().get(id)
    if found is not None:
        return found
    raise ValueError(f"there is no material {id!r}; {_suggest(id)}")


def materials() -> tuple[Material, ...]:
    """Return all materials, in the handbook's order."""
    return tuple(_by_id().values())


def _suggest(id: str) -> str:
    plain = "-".join(id.strip().lower().replace("_", " ").split())
    known = list(_by_id())
    named = _OTHER_NAMES.get(plain, plain)
    close = [named] if named in known else []
    # A word in common ("aluminium", "304"), or the start of one, says more than letters in common.
    words = plain.split("-")
    scored = [(sum(_alike(word, x) for word in words), x) for x in known]
    close += [x for score, x in sorted(scored, key=lambda pair: -pair[0]) if score > 0 and x not in close]
    if close:
        return f"close ones are {', '.join(close[:4])}"
    return f"the handbook has {', '.join(known)}"


def _alike(word: str, id: str) -> float:
    """Return 0 to 1: how much a word is like one of the words of an id."""
    parts = id.split("-")
    if word in parts:
        return 1.0
    if len(word) >= 2 and any(x.startswith(word) for x in parts):
        return 0.9
    ratio = max(difflib.SequenceMatcher(None, word, x).ratio() for x in [*parts, id])
    return ratio if ratio >= 0.75 else 0.0


def _material(id: str, row: Mapping[str, Any]) -> Material:
    laser = row.get("laser", {})
    return Material(
        id=id,
        name=row["name"],
        family=row["family"],
        processes=tuple(row["processes"]),
        good_for=row["good_for"],
        density_kg_m3=_value(row["density_kg_m3"]),
        youngs_modulus_gpa=_maybe(row, "youngs_modulus_gpa"),
        yield_mpa=_maybe(row, "yield_mpa"),
        ultimate_mpa=_maybe(row, "ultimate_mpa"),
        stock_mm=tuple(float(x) for x in row.get("stock_mm", ())),
        stock_in=tuple(float(x) for x in row.get("stock_in", ())),
        stock_source=_source(row.get("stock_source")),
        laser=laser.get("may", "yes"),
        laser_why=laser.get("why", ""),
        laser_source=_source(laser.get("source")),
        bendable=row.get("bendable", False),
        gauges=row.get("gauges", ""),
    )


def _value(entry: list[Any]) -> Value:
    value, kind, text = entry
    return Value(float(value), source(kind, text))


def _maybe(row: Mapping[str, Any], key: str) -> Value | None:
    return _value(row[key]) if key in row else None


def _source(entry: list[str] | None) -> Source | None:
    return None if entry is None else source(*entry)
