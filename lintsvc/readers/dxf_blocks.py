"""Blocks put in place: counted before they are expanded, so that a small file cannot become a large drawing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name
from lintsvc.readers.dxf_drawing import Block, Drawing
from lintsvc.readers.dxf_frame import Frame, extruded
from lintsvc.readers.dxf_tags import Record
from lintsvc.readers.flat_sheet import MOST_ENTITIES

#: Blocks inside blocks inside blocks: no drawing needs more.
DEEPEST = 32


@dataclass
class BlockCounts:
    """How many entities each block becomes, counted once."""

    drawing: Drawing

    def __post_init__(self) -> None:
        self._known: dict[str, int] = {}
        self._spent = 0

    def allow(self, insert: Record) -> None:
        """Take an insert from the budget. Raises Unreadable for a cycle, too deep nesting and too many entities."""
        self._spent += self._of_insert(insert, ())
        if self._spent > MOST_ENTITIES:
            name = clean_name(insert.first(2))
            raise Unreadable(
                f"The drawing's blocks become {self._spent:,} entities; {MOST_ENTITIES:,} are the limit.",
                f"insert of block {name!r}, line {insert.line}",
                "Explode the blocks that are meant, and leave the others out.",
            )

    def _of_insert(self, insert: Record, above: tuple[str, ...]) -> int:
        name = insert.first(2).lower()
        block = self.drawing.blocks.get(name)
        if block is None:
            return 1
        columns, rows = array_of(insert)
        return columns * rows * (1 + self._of_block(name, block, above))

    def _of_block(self, name: str, block: Block, above: tuple[str, ...]) -> int:
        if name in above:
            raise Unreadable(
                f"The block {clean_name(block.name)!r} contains itself.", remedy="Explode it, or draw it again."
            )
        if len(above) >= DEEPEST:
            raise Unreadable(f"Blocks are nested more than {DEEPEST} deep.", remedy="Explode them.")
        count = self._known.get(name)
        if count is None:
            inside = (*above, name)
            count = sum(self._of_insert(x.record, inside) if x.record.kind == "INSERT" else 1 for x in block.entities)
            self._known[name] = count
        return count


def array_of(insert: Record) -> tuple[int, int]:
    """Return columns and rows of an insert; 1 and 1 for a single one."""
    return max(1, insert.whole(70, 1)), max(1, insert.whole(71, 1))


def placements(insert: Record, block: Block, frame: Frame) -> Iterator[Frame]:
    """Yield where an insert puts its block: once, or for each cell of an array.

    Yields nothing for a scale of zero in x or y.
    """
    sx, sy, sz = insert.number(41, 1.0), insert.number(42, 1.0), insert.number(43, 1.0)
    if sx == 0 or sy == 0:
        return
    own = extruded((insert.number(210), insert.number(220), insert.number(230, 1.0)))
    plane = frame if own is None else frame.of(own)
    angle = math.radians(insert.number(50))
    c, s = math.cos(angle), math.sin(angle)
    at = (insert.number(10), insert.number(20), insert.number(30))
    turned = plane.of(Frame((c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0), at))
    columns, rows = array_of(insert)
    dx, dy = insert.number(44), insert.number(45)
    bx, by, bz = block.base
    for row in range(rows):
        for column in range(columns):
            origin = (column * dx - sx * bx, row * dy - sy * by, -sz * bz)
            yield turned.of(Frame((sx, 0.0, 0.0), (0.0, sy, 0.0), (0.0, 0.0, sz), origin))
