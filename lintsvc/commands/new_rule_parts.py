"""Small parts for the fixtures of new rules: a flat with one hole of a size, a plate of a thickness."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

Point = tuple[float, float]
Group = tuple[int, object]


@dataclass(frozen=True)
class Example:
    """A limit for a start, a part on each side of it, and how such a part is made."""

    sign: Literal["<", ">"]
    limit: float
    bad: float
    good: float
    suffix: str
    make: Callable[[float], bytes]
    choices: Mapping[str, str | float]


def _dxf(entities: Sequence[Sequence[Group]]) -> bytes:
    """Return an R12 DXF in mm of the entities, with a plate of 60 × 40 mm around them."""
    corners = [(0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (0.0, 40.0), (0.0, 0.0)]
    groups: list[Group] = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009")]
    groups += [(9, "$INSUNITS"), (70, 4), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for entity in (*(_line(a, b) for a, b in pairwise(corners)), *entities):
        groups += entity
    groups += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in groups).encode("ascii")


def _line(start: Point, end: Point) -> list[Group]:
    return [(0, "LINE"), (8, "CUT"), (10, start[0]), (20, start[1]), (30, 0.0), (11, end[0]), (21, end[1]), (31, 0.0)]


def _circle(centre: Point, radius: float) -> list[Group]:
    return [(0, "CIRCLE"), (8, "CUT"), (10, centre[0]), (20, centre[1]), (30, 0.0), (40, radius)]


def _arc(centre: Point, radius: float, start_deg: float, end_deg: float) -> list[Group]:
    head: list[Group] = [(0, "ARC"), (8, "CUT"), (10, centre[0]), (20, centre[1]), (30, 0.0), (40, radius)]
    return [*head, (50, start_deg), (51, end_deg)]


def _hole(diameter: float) -> bytes:
    return _dxf([_circle((30.0, 20.0), diameter / 2)])


def _slot(width: float) -> bytes:
    radius = width / 2
    sides = [
        _line((20.0, 20.0 - radius), (40.0, 20.0 - radius)),
        _arc((40.0, 20.0), radius, 270.0, 90.0),
        _line((40.0, 20.0 + radius), (20.0, 20.0 + radius)),
        _arc((20.0, 20.0), radius, 90.0, 270.0),
    ]
    return _dxf(sides)


def _web(width: float) -> bytes:
    return _dxf([_circle((25.0 - width / 2, 20.0), 5.0), _circle((35.0 + width / 2, 20.0), 5.0)])


def _stl(size: tuple[float, float, float]) -> bytes:
    """Return a box as a binary STL."""
    corners = [(x, y, z) for z in (0.0, size[2]) for y in (0.0, size[1]) for x in (0.0, size[0])]
    sides = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    faces = [face for a, b, c, d in sides for face in ((a, b, c), (a, c, d))]
    records = [struct.pack("<12fH", 0, 0, 0, *(x for i in face for x in corners[i]), 0) for face in faces]
    return b"\0" * 80 + struct.pack("<I", len(records)) + b"".join(records)


_SHEET: Mapping[str, str | float] = {"process": "sheet", "material": "steel-mild", "thickness_mm": 2.0}
_PRINT: Mapping[str, str | float] = {"process": "powder-bed", "material": "pa12"}

#: By the feature that a rule is about.
PARTS: dict[str, Example] = {
    "hole": Example("<", 3.0, 2.9, 3.1, ".dxf", _hole, _SHEET),
    "slot": Example("<", 3.0, 2.9, 3.1, ".dxf", _slot, _SHEET),
    "web": Example("<", 4.0, 3.9, 4.1, ".dxf", _web, _SHEET),
    "wall": Example("<", 1.2, 1.1, 1.3, ".stl", lambda x: _stl((40.0, 30.0, x)), _PRINT),
    "section": Example(">", 15.0, 15.5, 14.5, ".stl", lambda x: _stl((40.0, 30.0, x)), _PRINT),
}
