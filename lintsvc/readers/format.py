"""What a reader is: a name, the extensions it is known by, how its content is told, and the reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lintsvc.model.line_choice import LineChoice
from lintsvc.model.part import Part


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user said that reading depends on.

    `units` overrides the file's unit (a key of MM_PER_UNIT). `name` is the file's name as the user
    knows it; the path may be a content hash. `k_factor`: the shop's, for unfolding a solid.
    """

    name: str
    sha256: str
    units: str | None = None
    material: str | None = None
    k_factor: float | None = None
    #: What lines are for by the user's word; it goes before the rules of `flat_roles.toml`.
    lines: tuple[LineChoice, ...] = ()


@dataclass(frozen=True, slots=True)
class Format:
    """One file format. `claims(head, size)` says from the first 4 KiB and the size whether it is this format."""

    name: str
    extensions: tuple[str, ...]
    claims: Callable[[bytes, int], bool]
    read: Callable[[Path, ReadOptions], Part]
