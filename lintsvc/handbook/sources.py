"""Sources of the handbook's rows: written out in a row, or named there by a key of `sources.toml`."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import cast, get_args

from lintsvc.model.source import Source, SourceKind

_KINDS: tuple[str, ...] = get_args(SourceKind)


def source(kind: str, text: str) -> Source:
    """Return a source. Raises ValueError for a kind that does not exist or an empty text."""
    if kind not in _KINDS:
        raise ValueError(f"{kind!r} is no kind of source; kinds are {', '.join(_KINDS)}")
    if not text:
        raise ValueError("a source needs a text")
    return Source(cast(SourceKind, kind), text)


@lru_cache(maxsize=1)
def _named() -> dict[str, Source]:
    data = tomllib.loads((files(__package__) / "sources.toml").read_text("utf-8"))
    return {key: source(row["kind"], row["text"]) for key, row in data.items()}


def named(key: str) -> Source:
    """Return the source that a table row names. Raises KeyError for a key that is not in `sources.toml`."""
    return _named()[key]
