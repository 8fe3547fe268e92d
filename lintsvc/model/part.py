"""A part as read from a file, and the one error that reading may end in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from lintsvc.model.units import Units

# For the type checker only: whoever only wants to say "unreadable" should not wait for numpy.
if TYPE_CHECKING:
    from lintsvc.model.body import Body
    from lintsvc.model.sheet import Sheet


class Unreadable(Exception):
    """The file cannot be used. Says what is wrong, where, and what to do, each in a short sentence."""

    def __init__(self, why: str, where: str = "", remedy: str = "") -> None:
        self.why = why
        self.where = where
        self.remedy = remedy
        super().__init__(" ".join(x for x in (why, where and f"({where})", remedy) if x))


class NotMeasurable(Exception):
    """Something about a part cannot be measured, for a reason given in words. Rules that need it are "not checked"."""


NoteKind = Literal[
    "recovered",  # read, but something in the file was wrong and was worked around or left out
    "ignored",  # present in the file and not part of the part: text, dimensions, hatches, paper space …
    "not-flat",  # z not zero, odd extrusion
    "live-text",  # text that is not outlines
    "stray",  # an entity that can be no contour: a point, a zero-length line …
    "info",
]


@dataclass(frozen=True, slots=True)
class ReadNote:
    """Something noticed while reading, not swallowed."""

    kind: NoteKind
    text: str
    #: Numbers of the entities (sheets) it is about.
    entities: tuple[int, ...] = ()
    point_mm: tuple[float, float, float] | None = None
    count: int = 1


@dataclass(frozen=True)
class Part:
    """One file, read. `kind` says which of `body` and `sheet` the process pack looks at."""

    file: str
    sha256: str
    #: Name of the format as found by content: STL, DXF, STEP …
    format: str
    kind: Literal["body", "sheet"]
    units: Units
    #: Size of the bounding box along x, y, z.
    size_mm: tuple[float, float, float]
    body: Body | None = None
    sheet: Sheet | None = None
    notes: tuple[ReadNote, ...] = field(default=())
    #: For a solid that might be a sheet part: why it is not taken as one.
    not_a_sheet_because: str = ""
