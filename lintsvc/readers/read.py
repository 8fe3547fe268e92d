"""The table of formats, and the one way in: a path becomes a Part, or Unreadable says why not."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

from lintsvc.model.part import Part, Unreadable
from lintsvc.readers.content import READABLE, head_of, known_but_not_read
from lintsvc.readers.format import Format, ReadOptions

#: Asked in this order; a module is imported only when all before it have declined. An exact STL
#: size is the surest sign of all.
_TABLE: tuple[tuple[str, str], ...] = (
    ("stl", "FORMAT"),
    ("threemf", "FORMAT"),
    ("step", "FORMAT"),
    ("gltf", "FORMAT"),
    ("ply", "FORMAT"),
    ("svg", "FORMAT"),
    ("dxf", "FORMAT"),
    ("obj", "FORMAT"),
)
#: Its sign is weak, so it is asked after the formats that are known and not read.
_LAST = ("stl", "DAMAGED_BINARY")


def formats() -> tuple[Format, ...]:
    """Return every format that is read, in the order in which their signs are looked for."""
    return tuple(_format(module, name) for module, name in _TABLE)


def format_of(head: bytes, size: int) -> Format | None:
    """Return the format that the content is in, None for one that is not read."""
    for module, name in _TABLE:
        known = _format(module, name)
        if known.claims(head, size):
            return known
    return None


def read_part(path: Path, options: ReadOptions) -> Part:
    """Read one file, its format told by content.

    Raises Unreadable, and nothing else, for whatever is wrong with the file.
    """
    head, size = head_of(path)
    known = format_of(head, size)
    if known is None:
        other = known_but_not_read(head)
        if other is not None:
            raise Unreadable(f"This is {other[0]}, which is not read.", remedy=other[1])
        known = _format(*_LAST)
        if not known.claims(head, size):
            raise Unreadable("The file is in no format that is read.", remedy=f"Send {READABLE}.")
    try:
        return known.read(path, options)
    except (MemoryError, RecursionError) as error:
        raise Unreadable(
            f"The {known.name} file is nested too deep or needs too much memory.", remedy="Export it more simply."
        ) from error


def _format(module: str, name: str) -> Format:
    found = getattr(import_module(f"lintsvc.readers.{module}"), name)
    assert isinstance(found, Format)
    return found
