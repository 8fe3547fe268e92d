"""DXF records into a drawing: header values, layers, blocks and the entities of model space."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name
from lintsvc.readers.dxf_tags import Record


@dataclass(frozen=True, slots=True)
class Drawn:
    """An entity with what follows it: the vertices of a polyline, the attributes of an insert."""

    record: Record
    parts: tuple[Record, ...] = ()


@dataclass(frozen=True, slots=True)
class Layer:
    """A row of the layer table. `hidden` says why nothing on it can be seen; empty when it can."""

    name: str
    colour: int = 7
    line_type: str = ""
    rgb: str = ""
    hidden: str = ""


@dataclass(slots=True)
class Block:
    """A named group of entities. `base`: the point that an insert puts in its place."""

    name: str
    base: tuple[float, float, float]
    external: bool
    entities: list[Drawn] = field(default_factory=list)


@dataclass
class Drawing:
    """What a DXF file holds, nothing resolved yet. Names are compared in lower case."""

    header: dict[str, str] = field(default_factory=dict)
    layers: dict[str, Layer] = field(default_factory=dict)
    blocks: dict[str, Block] = field(default_factory=dict)
    #: Entities of paper space: title blocks and views, no part.
    paper: int = 0
    #: The closing EOF was there.
    ends: bool = False


#: Entities of all blocks together, and vertices of one polyline: kept in memory, about 1 kB each.
_MOST_KEPT = 200_000
_SUB = frozenset({"VERTEX", "ATTRIB"})
_COMPOUND = frozenset({"POLYLINE", "INSERT"})
_SMALLER = "Export the part alone, with simpler curves."
_TRUNCATED = "Copy or export it again, and compare the sizes."


def model_space(records: Iterator[Record], drawing: Drawing) -> Iterator[Drawn]:
    """Yield the entities of model space as they come; fill `drawing` on the way.

    Header, tables and blocks stand before the entities in a DXF file, so they are complete when the
    first entity is yielded. Entities are not kept: a large drawing is never whole in memory.
    Raises Unreadable where the file breaks off: without its closing EOF, all sections that were opened
    must at least be closed.
    """
    section, last = "", ""
    entities_seen = False
    block: Block | None = None
    kept = 0
    for record, parts in _with_parts(records):
        kind = record.kind
        if section == "ENTITIES" and kind != "ENDSEC":
            # 67 is 1 for paper space. Most entities lack the code.
            if 67 in record.codes and record.first(67) == "1":
                drawing.paper += 1
            else:
                yield Drawn(record, parts)
            last = kind
        elif kind == "SECTION":
            section = record.first(2).upper()
            entities_seen = entities_seen or section == "ENTITIES"
            if section == "HEADER":
                drawing.header = _header(record)
        elif kind == "ENDSEC":
            section, block = "", None
        elif kind == "EOF":
            drawing.ends = True
            return
        elif section == "BLOCKS":
            if kind == "BLOCK":
                block = _block(record)
                drawing.blocks[block.name.lower()] = block
            elif kind == "ENDBLK":
                block = None
            elif block is not None and not block.name.lower().startswith("*paper_space"):
                kept += 1 + len(parts)
                if kept > _MOST_KEPT:
                    raise Unreadable(f"The drawing's blocks hold more than {_MOST_KEPT:,} entities.", remedy=_SMALLER)
                block.entities.append(Drawn(record, parts))
        elif section == "TABLES" and kind == "LAYER":
            layer = _layer(record)
            drawing.layers[layer.name.lower()] = layer
    if section:
        why = f"The DXF file breaks off in its {clean_name(section)} section."
        raise Unreadable(why, last and f"in or after a {clean_name(last)}", _TRUNCATED)
    if not entities_seen:
        raise Unreadable("The DXF file ends before its entities.", remedy=_TRUNCATED)


def _block(record: Record) -> Block:
    base = (record.number(10), record.number(20), record.number(30))
    # 4, 8, 16, 32: drawn in another file.
    return Block(record.first(2), base, bool(record.whole(70) & 60))


def _with_parts(records: Iterator[Record]) -> Iterator[tuple[Record, tuple[Record, ...]]]:
    """Join polylines with their vertices and inserts with their attributes."""
    head: Record | None = None
    parts: list[Record] = []
    for record in records:
        if head is not None:
            if record.kind in _SUB:
                if len(parts) >= _MOST_KEPT:
                    raise Unreadable(f"A polyline has more than {_MOST_KEPT:,} vertices.", head.where, _SMALLER)
                parts.append(record)
                continue
            yield head, tuple(parts)
            head, parts = None, []
            if record.kind == "SEQEND":
                continue
        if record.kind in _COMPOUND:
            head = record
        elif record.kind not in ("SEQEND", "VERTEX"):
            yield record, ()
    if head is not None:
        yield head, tuple(parts)


def _header(record: Record) -> dict[str, str]:
    """Return the first value of each header variable (points give their x)."""
    header: dict[str, str] = {}
    name = ""
    for code, value in zip(record.codes, record.values, strict=True):
        if code == 9:
            name = value.strip()
        elif name:
            header.setdefault(name, value.strip())
    return header


def _layer(record: Record) -> Layer:
    colour = record.whole(62, 7)
    flags = record.whole(70)
    name = record.first(2)
    hidden = ""
    if flags & 1:
        hidden = f"its layer is frozen ({name})"
    elif colour < 0:
        hidden = f"its layer is switched off ({name})"
    return Layer(name, abs(colour), record.first(6), rgb_of(record), hidden)


def rgb_of(record: Record) -> str:
    """Return the true colour (code 420) as `#rrggbb`, empty where there is none."""
    return f"#{record.whole(420) & 0xFFFFFF:06x}" if 420 in record.codes else ""
