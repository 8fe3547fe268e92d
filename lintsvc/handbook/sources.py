"""Turning the source columns of the handbook's data files into `Source` values."""

from __future__ import annotations

from typing import cast, get_args

from lintsvc.model.source import Source, SourceKind

_KINDS: tuple[str, ...] = get_args(SourceKind)


def source(kind: str, text: str, checked: str | None = None) -> Source:
    """Return a source. Raises ValueError for a kind that does not exist or an empty text."""
    if kind not in _KINDS:
        raise ValueError(f"{kind!r} is no kind of source; kinds are {', '.join(_KINDS)}")
    if not text:
        raise ValueError("a source needs a text")
    return Source(cast(SourceKind, kind), text, checked)
