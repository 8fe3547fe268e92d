"""A page of a packet as blocks that HTML, PDF and plain text are written from: one content, three looks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lintsvc.model.finding import Level
from lintsvc.reports.sketch import Sketch


@dataclass(frozen=True, slots=True)
class Head:
    """A heading; `level` 1 is the page's own."""

    text: str
    level: Literal[1, 2] = 2


@dataclass(frozen=True, slots=True)
class Line:
    """A paragraph. `quiet`: smaller and grey; `level`: in the colour of a finding."""

    text: str
    quiet: bool = False
    level: Level | None = None


@dataclass(frozen=True, slots=True)
class Rows:
    """A table. Without a head its first column names things. `widths`: shares of the page, even when left out."""

    rows: tuple[tuple[str, ...], ...]
    head: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()
    #: Cells to be filled in by hand: taller, with lines.
    fill_in: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture, with words below it. `small`: where it only helps to find things."""

    sketch: Sketch
    caption: str = ""
    small: bool = False


Block = Head | Line | Rows | Drawing


@dataclass(frozen=True, slots=True)
class Page:
    """One document: what it is called, and its blocks."""

    title: str
    blocks: tuple[Block, ...]
