"""The packet in a few plain lines, to paste into an order's notes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from lintsvc.packet.drawn import BendLine, Drawn, place_words, sink_words
from lintsvc.packet.part_page import (
    file_name,
    inch_words,
    masked_places,
    material_text,
    not_ready,
    quantity_text,
    thickness_text,
)
from lintsvc.reports.words import clean, plural
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart

_WIDE = 100


def notes(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> str:
    """Return the summary of the whole order: one paragraph a part."""
    about = order.order.order
    lines = [about.name, *([f"Needed by {about.need_by.isoformat()}."] if about.need_by else [])]
    for part in order.parts:
        lines += ["", *part_lines(order, part, drawn.get(part.id))]
    return "\n".join(y for x in lines for y in _wrapped(x)) + "\n"


def part_notes(order: CheckedOrder, part: OrderedPart, drawn: Drawn | None) -> str:
    """Return the summary of one part."""
    return "\n".join(y for x in part_lines(order, part, drawn) for y in _wrapped(x)) + "\n"


def part_lines(order: CheckedOrder, part: OrderedPart, drawn: Drawn | None) -> Iterator[str]:
    """Yield what a maker must not misread, one thing a line."""
    yield f"{part.id}: {file_name(part)}"
    yield f"  SHA-256 {part.report.sha256 or 'not known: the file could not be read'}"
    if words := not_ready(part):
        yield f"  {words}"
    thickness = thickness_text(part)
    yield f"  Quantity {quantity_text(part)}"
    yield f"  Material {material_text(part)}" + (f", thickness {thickness}" if thickness else "")
    yield f"  Finish {part.entry.finish}"
    yield from (f"  Keep free of finish: {x}" for x in masked_places(order, part))
    if part.entry.cut:
        yield f"  Cut by {part.entry.cut}"
    if drawn is None:
        return
    sides = [x for x in drawn.folded_size_mm or drawn.drivers.box_mm if x]
    # A thickness of 3.175 mm must not read as 3.2.
    box = " x ".join(number(round(x, 2 if drawn.folded_size_mm else 3)) for x in sides)
    unit = part.report.part.units.value if part.report.part else "mm"
    folded = " folded" if drawn.folded_size_mm else ""
    yield f"  Outside size {box} mm{inch_words(part, sides, ' x ')}{folded}; the file is read in {unit}"
    if drawn.bends:
        yield "  Bends, as seen on the flat (up is towards the viewer):"
        for bend in drawn.bends:
            radius = (
                "inside radius not said" if bend.radius_mm is None else f"inside radius {number(bend.radius_mm)} mm"
            )
            yield f"    {_bend(bend)}, {radius}, at {place_words(bend.at_mm, 1)}"
    for group in drawn.holes:
        across = f"{number(group.diameter_mm)} mm{inch_words(part, (group.diameter_mm,))}"
        holes = f"{plural(group.count, 'hole')} of {across}"
        if group.thread:
            yield f"  Tap {group.thread} in {holes}: {_places(group.centres_mm)}"
        if group.countersink:
            yield f"  C{sink_words(group)[1:]}: {holes}, {_places(group.centres_mm)}"
    if any(x.thread or x.countersink for x in drawn.holes) or drawn.bends:
        yield "  Places in mm from the flat's lower left corner."


def _bend(bend: BendLine) -> str:
    """Return 'B1 up 90°'; what nobody said is said to be so, for there is no picture beside these lines."""
    direction = bend.direction or "DIRECTION NOT SAID"
    angle = "ANGLE NOT SAID" if bend.angle_deg is None else f"{bend.angle_deg:g}°"
    return f"{bend.name} {direction} {angle}"


def _places(centres: tuple[tuple[float, ...], ...]) -> str:
    return "; ".join(place_words(c, 1) for c in centres)


def _wrapped(line: str) -> list[str]:
    # File names and hashes are left whole: they are searched for.
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(
        clean(line), _WIDE, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    ) or [""]
