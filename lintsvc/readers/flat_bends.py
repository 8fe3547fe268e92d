"""Angle, direction and radius of bends, as layer names and drawn texts say them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from lintsvc.model.part import NoteKind
from lintsvc.model.sheet import Arc, Circle, Direction, Entity, Line, Point2, Polyline
from lintsvc.readers.flat_extent import point_on
from lintsvc.readers.flat_roles import pieces

_T = TypeVar("_T")
_UP = frozenset({"up", "hoch", "oben", "aufwärts", "haut", "arriba", "su"})
_DOWN = frozenset({"down", "dn", "unten", "runter", "abwärts", "bas", "abajo", "giu", "giù"})
_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_DEGREES = re.compile(_NUMBER + r"\s*(?:°|º|%%d|\\U\+00B0|deg\b|degrees?\b|grad\b)", re.IGNORECASE)
_RADIUS = re.compile(r"(?<![a-z])(?:i\.?r|r|rad(?:ius)?|ri)(?:\.(?!\d))?\s*[=:]?\s*" + _NUMBER, re.IGNORECASE)
_BESIDE_DIRECTION = re.compile(
    rf"(?:\b(?:up|down|dn)\b\W*{_NUMBER})|(?:(?<![\d.,r]){_NUMBER}\s*(?:up|down|dn)\b)", re.IGNORECASE
)
_SAYS_BEND = re.compile(r"\b(?:bend|bends|fold|bieg\w*|kant\w*|pli|piega)\b", re.IGNORECASE)
_ALL_BENDS = re.compile(r"\ball\s+(?:bends|folds)\b", re.IGNORECASE)
#: A text further from a bend line than this, and than this many of its own heights, says nothing about it
#: (common practice, no source: a note is set beside its line).
_NEAR_MM = 10.0
_NEAR_HEIGHTS = 5.0
#: Bend lines are often drawn a little short of the edge: this much, or this part of their length.
_SHORT_MM = 0.5
_SHORT_PART = 0.02


@dataclass(frozen=True, slots=True)
class BendSaid:
    """What a text or a layer's name says of a bend. The angle is the one bent through; None: not said."""

    angle_deg: float | None = None
    direction: Direction | None = None
    radius: float | None = None


@dataclass(frozen=True, slots=True)
class PlacedText:
    """A text in the drawing: where it stands and how high its letters are (mm), and what radii are counted in."""

    entity: int
    text: str
    at: Point2
    height_mm: float
    mm_per_unit: float


class NotesKept(Protocol):
    """Whoever keeps the notes of a reading."""

    def note(self, kind: NoteKind, text: str, entity: int | None = None) -> None:
        """Keep a note."""


def said_by_layer(name: str) -> BendSaid:
    """Return what the name of a bend layer says.

    A bare number counts as an angle only beside a direction: the 2 of `BEND2` is a number of a layer.

    >>> said_by_layer("BEND_DOWN_45")
    BendSaid(angle_deg=45.0, direction='down', radius=None)
    """
    found = pieces(name)
    direction = _direction(found)
    degrees = _DEGREES.search(name)
    radius = _RADIUS.search(name)
    angle = _angle(degrees.group(1)) if degrees else None
    if angle is None and direction is not None:
        numbers = [x for x in pieces(_RADIUS.sub(" ", name)) if x.isdecimal() and 5 <= float(x) <= 180]
        angle = float(numbers[0]) if len(numbers) == 1 else None
    return BendSaid(angle, direction, _number(radius.group(1)) if radius else None)


def said_by_text(text: str) -> BendSaid | None:
    """Return what a drawn text says of a bend; None for a text that speaks of something else.

    Counts as a bend's text: a direction, the word bend with an angle or a radius, or an angle with a radius.

    >>> said_by_text("UP 90° R1.5")
    BendSaid(angle_deg=90.0, direction='up', radius=1.5)
    >>> said_by_text("R5") is None
    True
    """
    text = text[:200]
    direction = _direction(pieces(text))
    degrees, beside, radius = _DEGREES.search(text), _BESIDE_DIRECTION.search(text), _RADIUS.search(text)
    angle = _angle(degrees.group(1)) if degrees else None
    if angle is None and beside is not None:
        angle = _angle(beside.group(1) or beside.group(2))
    said = BendSaid(angle, direction, _number(radius.group(1)) if radius else None)
    values = (said.angle_deg is not None) + (said.radius is not None)
    if direction is not None or values == 2 or (values and _SAYS_BEND.search(text)):
        return said
    return None


def with_bend_data(entities: list[Entity], texts: Sequence[PlacedText], mm_per_unit: float, notes: NotesKept) -> None:
    """Give every bend entity, in place, what its layer's name and the texts beside it say.

    The layer's word goes before a text; texts that disagree about one bend leave it open, with a note.
    """
    bends = [x for x in entities if x.role == "bend" and x.shapes]
    if not bends:
        return
    of_all, of_one = _texts_of_bends(bends, texts)
    for bend in bends:
        layer = said_by_layer(bend.layer)
        # A text about all bends speaks where nothing speaks about this one.
        beside = of_one.get(bend.number, []) or of_all
        angle, angle_open = _agreed(layer.angle_deg, [said.angle_deg for _, said in beside])
        direction: Direction | None
        direction, direction_open = _agreed(layer.direction, [said.direction for _, said in beside])
        radius, radius_open = _agreed(
            None if layer.radius is None else layer.radius * mm_per_unit,
            [None if said.radius is None else said.radius * text.mm_per_unit for text, said in beside],
        )
        why = bend.role_why
        if beside:
            quoted = ", ".join(f"“{text.text[:40]}”" for text, _ in beside[:3])
            why += f"; the text {quoted} is read as this bend's"
        clashes = (("angle", angle_open), ("direction", direction_open), ("radius", radius_open))
        for name in (name for name, clash in clashes if clash):
            notes.note("info", f"Texts disagree about the {name} of a bend; it is left open.", bend.number)
        entities[bend.number] = replace(
            bend, bend_angle_deg=angle, bend_direction=direction, bend_radius_mm=radius, role_why=why
        )


def keep_edge_to_edge(entities: list[Entity], numbers: Sequence[int]) -> None:
    """Make unclear, in place, the lines of these numbers that do not run from a cut to a cut.

    A dashed line may be a bend, a hidden edge or a centre line; only a bend crosses the part.
    """
    if not numbers:
        return
    import shapely

    cuts = [shapely.LineString(line) for x in entities if x.role == "cut" for line in _chords(x)]
    tree = shapely.STRtree(cuts)
    for number in numbers:
        line = entities[number].shapes[0]
        assert isinstance(line, Line)
        reach = max(_SHORT_MM, _SHORT_PART * math.dist(line.start, line.end))
        ends = [shapely.Point(line.start), shapely.Point(line.end)]
        if len(tree.query(ends[0], "dwithin", reach)) and len(tree.query(ends[1], "dwithin", reach)):
            continue
        why = f"{entities[number].role_why}, but it does not run from edge to edge"
        entities[number] = replace(entities[number], role="unclear", role_why=why)


def _chords(entity: Entity) -> Iterator[Sequence[Point2]]:
    for shape in entity.shapes:
        if isinstance(shape, Line):
            yield shape.start, shape.end
        elif isinstance(shape, Polyline):
            yield shape.points
        else:
            full = Arc(shape.centre, shape.radius_mm, 0.0, 360.0) if isinstance(shape, Circle) else shape
            steps = 64
            sweep = (full.end_deg - full.start_deg) / steps
            yield [point_on(full, full.start_deg + i * sweep) for i in range(steps + 1)]


_Said = tuple[PlacedText, BendSaid]


def _texts_of_bends(bends: list[Entity], texts: Sequence[PlacedText]) -> tuple[list[_Said], dict[int, list[_Said]]]:
    """Return the texts about all bends (each saying once), and those beside one bend by its number."""
    speaking = [(text, said) for text in texts if (said := said_by_text(text.text)) is not None]
    if not speaking:
        return [], {}
    of_all = {said: text for text, said in speaking if _ALL_BENDS.search(text.text)}
    of_one: dict[int, list[_Said]] = {}
    local = [(text, said) for text, said in speaking if not _ALL_BENDS.search(text.text)]
    if local:
        # Only drawings with bend notes pay for the import.
        import shapely

        lines = [shapely.LineString(_points(bend)) for bend in bends]
        spots = [shapely.Point(text.at) for text, _ in local]
        for (text, said), spot, index in zip(local, spots, shapely.STRtree(lines).nearest(spots), strict=True):
            if lines[index].distance(spot) <= max(_NEAR_MM, _NEAR_HEIGHTS * text.height_mm):
                of_one.setdefault(bends[index].number, []).append((text, said))
    return [(text, said) for said, text in of_all.items()], of_one


def _points(bend: Entity) -> list[Point2]:
    points: list[Point2] = []
    for shape in bend.shapes:
        if isinstance(shape, Line):
            points += (shape.start, shape.end)
        elif isinstance(shape, Polyline):
            points += shape.points
        else:
            points += (shape.centre, shape.centre)
    return points


def _agreed(first: _T | None, others: Sequence[_T | None]) -> tuple[_T | None, bool]:
    """Return the value that is said, and whether sayings clash."""
    if first is not None:
        return first, False
    said = {x for x in others if x is not None}
    return (next(iter(said)), False) if len(said) == 1 else (None, len(said) > 1)


def _direction(found: Sequence[str]) -> Direction | None:
    # BENDUP is one piece; so is BENDDOWN.
    joined = [x for x in found if x.startswith(("bend", "fold"))]
    up = any(x in _UP for x in found) or any(x.endswith("up") for x in joined)
    down = any(x in _DOWN for x in found) or any(x.endswith(("down", "dn")) for x in joined)
    if up == down:
        return None
    return "up" if up else "down"


def _angle(digits: str) -> float | None:
    value = _number(digits)
    return value if 0 < value <= 180 else None


def _number(digits: str) -> float:
    return float(digits.replace(",", "."))
