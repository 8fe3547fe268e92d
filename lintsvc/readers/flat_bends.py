"""Bend lines get what the user, their layers and the texts beside them say; dashed lines are told from others."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from lintsvc.model.part import NoteKind
from lintsvc.model.sheet import Arc, Circle, Direction, Entity, Line, Point2, Polyline
from lintsvc.readers.flat_extent import point_on
from lintsvc.readers.flat_roles import BendWords, RoleRules
from lintsvc.readers.flat_said import BendSaid, said_by_layer, said_by_text, speaks_of_all

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class PlacedText:
    """A text in the drawing: its layer, where it stands and how high its letters are (mm)."""

    text: str
    at: Point2
    height_mm: float
    layer: str


class NotesKept(Protocol):
    """Whoever keeps the notes of a reading."""

    def note(self, kind: NoteKind, text: str, entity: int | None = None) -> None:
        """Keep a note."""


def with_bend_data(
    entities: list[Entity],
    texts: Sequence[PlacedText],
    rules: RoleRules,
    mm_per_unit: float,
    notes: NotesKept,
    words: Mapping[int, BendSaid] | None = None,
) -> None:
    """Give every bend entity, in place, what the user, its layer's name and the texts beside it say.

    `mm_per_unit`: of a radius that names no unit. `words`: the user's, by entity. They go before the layer's
    word, and that before a text; texts that disagree about one bend leave it open, with a note.
    """
    words = words or {}
    bends = [x for x in entities if x.role == "bend" and x.shapes]
    if not bends:
        return
    of_all, of_one = _texts_of_bends(bends, texts, rules, mm_per_unit)
    for bend in bends:
        layer, word = said_by_layer(bend.layer, rules, mm_per_unit), words.get(bend.number, BendSaid())
        # A text about all bends speaks where nothing speaks about this one.
        beside = of_one.get(bend.number, []) or of_all
        angle, angle_open = _agreed(_either(word.angle_deg, layer.angle_deg), [said.angle_deg for _, said in beside])
        direction: Direction | None
        direction, direction_open = _agreed(
            _either(word.direction, layer.direction), [said.direction for _, said in beside]
        )
        radius, radius_open = _agreed(_either(word.radius_mm, layer.radius_mm), [said.radius_mm for _, said in beside])
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


def tell_bends(entities: list[Entity], dashed: Sequence[int], texts: Sequence[PlacedText], rules: RoleRules) -> None:
    """Tell, in place, bend lines from other broken lines: only a bend runs from a cut to a cut.

    `dashed`: lines that are bends if they do; else they are unclear. A line of another broken type, as centre lines
    have it, that does is a bend where a bend's text stands beside it.
    """
    spots = [x for x in texts if _said(x, rules, 1.0) is not None and not speaks_of_all(x.text)]
    open_or_bend = [x for x in entities if (x.role == "bend" and x.shapes) or (x.role == "unclear" and _is_line(x))]
    beside = _nearest(open_or_bend, spots, rules.bend)
    named = {n for n in beside if entities[n].role == "unclear"}
    across = _edge_to_edge(entities, [*dashed, *named], rules.bend)
    for number in {*dashed} - across:
        why = f"{entities[number].role_why}, but it does not run from edge to edge"
        entities[number] = replace(entities[number], role="unclear", role_why=why)
    for number in named & across:
        why = f"{entities[number].role_why}; it runs from edge to edge, with a bend's text beside it"
        entities[number] = replace(entities[number], role="bend", role_why=why)


def _is_line(entity: Entity) -> bool:
    return len(entity.shapes) == 1 and isinstance(entity.shapes[0], Line)


def _edge_to_edge(entities: Sequence[Entity], numbers: Sequence[int], words: BendWords) -> set[int]:
    """Return the lines of these numbers that run from a cut to a cut."""
    if not numbers:
        return set()
    import shapely

    cuts = [shapely.LineString(line) for x in entities if x.role == "cut" for line in _chords(x)]
    tree = shapely.STRtree(cuts)
    found = set()
    for number in numbers:
        line = entities[number].shapes[0]
        assert isinstance(line, Line)
        reach = max(words.short_mm, words.short_part * math.dist(line.start, line.end))
        ends = shapely.Point(line.start), shapely.Point(line.end)
        if all(len(tree.query(x, "dwithin", reach)) for x in ends):
            found.add(number)
    return found


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


def _texts_of_bends(
    bends: list[Entity], texts: Sequence[PlacedText], rules: RoleRules, mm_per_unit: float
) -> tuple[list[_Said], dict[int, list[_Said]]]:
    """Return the texts about all bends (each saying once), and those beside one bend by its number."""
    speaking = {x: said for x in texts if (said := _said(x, rules, mm_per_unit)) is not None}
    of_all = {said: text for text, said in speaking.items() if speaks_of_all(text.text)}
    local = [x for x in speaking if not speaks_of_all(x.text)]
    of_one = {n: [(x, speaking[x]) for x in beside] for n, beside in _nearest(bends, local, rules.bend).items()}
    return [(text, said) for said, text in of_all.items()], of_one


def _said(text: PlacedText, rules: RoleRules, mm_per_unit: float) -> BendSaid | None:
    return said_by_text(text.text, rules, mm_per_unit, of_bends=rules.says_bend(text.layer))


def _nearest(lines: Sequence[Entity], texts: Sequence[PlacedText], words: BendWords) -> dict[int, list[PlacedText]]:
    """Return the texts beside each line, by its number: a text belongs to the one that it is nearest to."""
    if not lines or not texts:
        return {}
    # Only drawings with bend notes pay for the import.
    import shapely

    drawn = [shapely.LineString(_points(x)) for x in lines]
    spots = [shapely.Point(x.at) for x in texts]
    found: dict[int, list[PlacedText]] = {}
    for text, spot, index in zip(texts, spots, shapely.STRtree(drawn).nearest(spots), strict=True):
        if drawn[index].distance(spot) <= max(words.near_mm, words.near_heights * text.height_mm):
            found.setdefault(lines[index].number, []).append(text)
    return found


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


def _either(first: _T | None, second: _T | None) -> _T | None:
    return second if first is None else first


def _agreed(first: _T | None, others: Sequence[_T | None]) -> tuple[_T | None, bool]:
    """Return the value that is said, and whether sayings clash."""
    if first is not None:
        return first, False
    said = {x for x in others if x is not None}
    return (next(iter(said)), False) if len(said) == 1 else (None, len(said) > 1)
