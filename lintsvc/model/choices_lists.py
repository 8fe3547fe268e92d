"""Choices that are lists, as people write them: `M4 at 10,20; M5 at -3mm,4mm`.

    threads        M4 at 10,20
    countersinks   M5 at 10,20 down
    bends          at 10,20 up 90 R2mm
    lines          layer:FOLD=bend up

Places are in the flat, in mm unless a unit is written.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from lintsvc.model.choices import CountersinkChoice, ThreadChoice
from lintsvc.model.line_choice import LineChoice, line_choice
from lintsvc.model.sheet import Bend, Point2

Length = Callable[[str], float]
_AT = re.compile(r"(?P<what>.*?)\s*\bat\s+(?P<x>[^\s,;]+)\s*,\s*(?P<y>[^\s,;]+)\s*(?P<more>.*)", re.IGNORECASE)
_EXAMPLES: dict[type[Any], str] = {
    ThreadChoice: "M4 at 10,20",
    CountersinkChoice: "M4 at 10,20 up",
    Bend: "at 10,20 up 90 R2mm",
}


def list_item(kind: type[Any], text: str, length_mm: Length) -> Any:
    """Return one thread, countersink, bend or what lines are for. `length_mm` reads a length. Raises ValueError."""
    if kind is LineChoice:
        return line_choice(text, length_mm)
    found = _AT.fullmatch(text.strip())
    wrong = ValueError(f"{text.strip()!r} is not understood; write it like {_EXAMPLES[kind]}")
    if found is None:
        raise wrong
    what, more = found["what"].strip(), found["more"].split()
    at: Point2 = (_coordinate(found["x"], length_mm), _coordinate(found["y"], length_mm))
    if kind is ThreadChoice and what and not more:
        return ThreadChoice(what, at)
    if kind is CountersinkChoice and what and more in ([], ["up"], ["down"]):
        return CountersinkChoice(what, at, "down" if more == ["down"] else "up")
    if kind is Bend and not what and more:
        # The same words as those of a layer of bends.
        said = line_choice(f"layer:x=bend {' '.join(more)}", length_mm)
        return Bend(at, at, said.angle_deg, said.direction, said.radius_mm, why="named by the user")
    raise wrong


def _coordinate(text: str, length_mm: Length) -> float:
    plain = text.lstrip("-")
    if re.fullmatch(r"0*\.?0+[a-z]*", plain):
        return 0.0
    return -length_mm(plain) if text.startswith("-") else length_mm(plain)
