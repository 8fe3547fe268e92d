"""Collects what a flat file draws, entity by entity, and makes the sheet of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from lintsvc.model.line_choice import LineChoice
from lintsvc.model.part import NoteKind, Part, ReadNote, Unreadable
from lintsvc.model.sheet import Entity, Line, Point2, Role, Shape, Sheet
from lintsvc.model.units import Units
from lintsvc.readers.content import clean_name
from lintsvc.readers.flat_bends import PlacedText, tell_bends, with_bend_data
from lintsvc.readers.flat_curves import Flattening
from lintsvc.readers.flat_extent import Box2, box_of
from lintsvc.readers.flat_roles import TOO_WEAK, RoleRules
from lintsvc.readers.flat_words import UsersWord
from lintsvc.readers.format import ReadOptions

#: After all blocks are resolved. Bounds time to about 5 s and memory to about 300 MB.
MOST_ENTITIES = 500_000
#: Coordinates beyond this (1000 km) are damage, not a part.
FURTHEST_MM = 1e9
#: A note names at most this many entities.
_MOST_NAMED = 10_000

Size3 = tuple[float, float, float]


@dataclass
class _Noted:
    count: int
    entities: list[int]
    point: Size3 | None


class SheetBuilder:
    """Takes entities in file order; `finish` gives the sheet. All coordinates are mm, y up."""

    def __init__(
        self, rules: RoleRules, flattening: Flattening, mm_per_unit: float, lines: tuple[LineChoice, ...] = ()
    ) -> None:
        self.rules = rules
        self.lines = UsersWord(lines)
        self.flattening = flattening
        self.mm_per_unit = mm_per_unit
        self._entities: list[Entity] = []
        self._hidden: list[int] = []
        self._edge_to_edge: list[int] = []
        self._texts: list[PlacedText] = []
        self._notes: dict[tuple[NoteKind, str], _Noted] = {}

    def add(
        self,
        handle: str,
        kind: str,
        layer: str,
        shapes: tuple[Shape, ...],
        *,
        colour: int | None = None,
        rgb: str = "",
        line_type: str = "",
        hidden: str = "",
    ) -> int:
        """Keep a drawn entity; return its number. `hidden`: why it cannot be seen, if so."""
        number = self._next()
        straight = len(shapes) == 1 and isinstance(shapes[0], Line)
        word = self.lines.about(number, layer, line_type, rgb, colour)
        if word is not None:
            role: Role = word.role
            why = f"you said {word}"
        elif hidden:
            role = "note"
            why = hidden
            self._hidden.append(number)
        else:
            role, why, edge_to_edge = self.rules.role(layer, line_type, rgb, straight)
            if edge_to_edge:
                self._edge_to_edge.append(number)
        self._entities.append(
            Entity(number, handle or f"#{number}", kind, layer, shapes, colour, line_type, "", role, why, rgb)
        )
        return number

    def add_mark(
        self, handle: str, kind: str, layer: str, at: Point2 | None, *, text: str = "", height_mm: float = 0.0
    ) -> int:
        """Keep a thing that has no outline (a text, a point, a dimension); return its number."""
        number = self._next()
        text = clean_name(text)
        if at is not None and not (abs(at[0]) <= FURTHEST_MM and abs(at[1]) <= FURTHEST_MM):
            at = None
        why = "it has no outline to cut"
        self._entities.append(
            Entity(number, handle or f"#{number}", kind, layer, (), text=text, role="note", role_why=why, at=at)
        )
        if text and at is not None:
            self._texts.append(PlacedText(text, at, height_mm, layer))
        return number

    def note(self, kind: NoteKind, text: str, entity: int | None = None, point: Point2 | None = None) -> None:
        """Keep something noticed. Notes of one text are counted together; `{n}` in it becomes the count."""
        noted = self._notes.get((kind, text))
        if noted is None:
            noted = self._notes[kind, text] = _Noted(0, [], None if point is None else (*point, 0.0))
        noted.count += 1
        if entity is not None and len(noted.entities) < _MOST_NAMED:
            noted.entities.append(entity)

    def box(self, everything: Box2 | None = None) -> Box2:
        """Return the box around what would be cut; around everything drawn where nothing would be.

        `everything`: the latter, where it is known already. A drawing of nothing has a box of zeros.
        """
        if everything is not None and all(x.role == "cut" for x in self._entities):
            return everything
        cut = box_of(x for entity in self._entities if entity.role in ("cut", "unclear") for x in entity.shapes)
        return (
            cut or everything or box_of(x for entity in self._entities for x in entity.shapes) or (0.0, 0.0, 0.0, 0.0)
        )

    def finish(self, options: ReadOptions, format_name: str, units: Units) -> Part:
        """Return the part. Raises Unreadable where nothing is drawn that could be cut."""
        box = box_of(x for entity in self._entities for x in entity.shapes)
        if box is None:
            why = "There is nothing to cut in the drawing."
            raise Unreadable(why, self._what_there_is(), "Draw the part's outline.")
        if not all(abs(x) <= FURTHEST_MM for x in box):
            raise Unreadable(
                "Coordinates are not numbers, or further out than 1000 km.", self._where_wrong(), "Export it again."
            )
        self._see_that_something_is_cut()
        tell_bends(self._entities, self._edge_to_edge, self._texts, self.rules)
        with_bend_data(self._entities, self._texts, self.rules, self.mm_per_unit, self, self.lines.of_bends())
        for unused in self.lines.unused():
            self.note("info", f"You said {unused}, but nothing in the file is drawn so.")
        self._note_roles()
        left, bottom, right, top = self.box(box)
        notes = tuple(
            ReadNote(kind, counted(text, x.count), tuple(x.entities), x.point, x.count)
            for (kind, text), x in self._notes.items()
        )
        sheet = Sheet(tuple(self._entities), self.flattening.stated_mm)
        size = (right - left, top - bottom, 0.0)
        return Part(options.name, options.sha256, format_name, "sheet", units, size, sheet=sheet, notes=notes)

    def _next(self) -> int:
        if len(self._entities) >= MOST_ENTITIES:
            raise Unreadable(
                f"The drawing has more than {MOST_ENTITIES:,} entities.",
                remedy="Export the part alone, and join its lines.",
            )
        return len(self._entities)

    def _see_that_something_is_cut(self) -> None:
        """A file whose every line is hidden or on a note's layer still means to be cut: say so and go on."""
        drawn = [x for x in self._entities if x.shapes]
        if any(x.role in ("cut", "unclear") for x in drawn):
            return
        hidden = set(self._hidden)
        chosen = [x for x in drawn if x.number in hidden] or [x for x in drawn if x.role == "note"]
        for x in chosen:
            why = f"nothing else in the file could be cut, although {x.role_why}"
            self._entities[x.number] = replace(x, role="unclear", role_why=why)
            text = "Nothing in the file says cut; {n} entities are taken as contours all the same."
            self.note("recovered", text, x.number)

    def _note_roles(self) -> None:
        for x in self._entities:
            spoken = TOO_WEAK in x.role_why or x.number in self.lines
            if not x.shapes or (x.role == "cut" and not spoken):
                continue
            reason = x.role_why.split("; the text ")[0]
            taken = {
                "bend": "taken as bend lines", "engrave": "taken as engraving", "note": "taken as notes, not cut",
                "unclear": "unclear", "cut": "taken as cuts",
            }[x.role]  # fmt: skip
            if x.bend_direction is not None:
                taken += f", {x.bend_direction}"
            self.note("ignored" if x.role == "note" else "info", f"{{n}} entities {taken}: {reason}.", x.number)

    def _what_there_is(self) -> str:
        kinds: dict[str, int] = {}
        for x in self._entities:
            kinds[x.kind] = kinds.get(x.kind, 0) + 1
        there = [f"{count} × {kind}" for kind, count in list(kinds.items())[:6]]
        there += [counted(text, x.count) for (kind, text), x in self._notes.items() if kind == "recovered"][:3]
        return "; ".join(there) or "no entities at all"

    def _where_wrong(self) -> str:
        for x in self._entities:
            box = box_of(x.shapes)
            if box is not None and not all(abs(v) <= FURTHEST_MM for v in box):
                return f"{x.kind} {clean_name(x.handle)}"
        return ""


#: Of a note that is written for many: what it says of one.
_ONE = {
    "are": "is", "have": "has", "lie": "lies", "lead": "leads", "name": "names", "draw": "draws", "they are": "it is",
}  # fmt: skip
_NOUN = re.compile(
    r"\{n\} ((?:[\w-]+ )?)(entit|[\w-]+?)(?:ies|s) (?=(?:are|have|lie|lead|name|draw|taken|unclear|of block)\b)"
)


def counted(text: str, count: int) -> str:
    """Return a note with its count, in the right number.

    >>> counted("{n} line elements have no size.", 1), counted("{n} entities taken as cuts.", 1)
    ('1 line element has no size.', '1 entity taken as cuts.')
    """
    if count != 1:
        return text.replace("{n}", f"{count:,}")
    found = _NOUN.search(text)
    if found is not None:
        noun = {"entit": "entity", "hatche": "hatch"}.get(found[2], found[2])
        rest = text[found.end() :]
        for many, one in _ONE.items():
            rest = re.sub(rf"^{many}\b|\b(?<=; ){many}\b", one, rest)
        text = f"{text[: found.start()]}1 {found[1]}{noun} {rest}"
    return text.replace("{n}", "1")


def out_of_reach(value: float) -> bool:
    """True for NaN, infinity and absurd size: checked where a value would otherwise make loops long."""
    return not abs(value) <= FURTHEST_MM
