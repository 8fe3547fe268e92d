"""What a packet needs of one part's geometry: pictures, holes, bends, threads, countersinks, what drives its cost.

Made where the part is measured (in a checking process), and small enough to be handed on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lintsvc.order.cost import Drivers, drivers_of
from lintsvc.reports.sketch import Sketch
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from lintsvc.measure.bores import Bore
    from lintsvc.measure.mesh import Floats
    from lintsvc.model.sheet import Bend
    from lintsvc.reports.picture_flat import Note
    from lintsvc.reports.picture_sizes import Label
    from lintsvc.rulebook.checked import Checked

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]
#: An outer ring and the rings that are cut out of it.
Piece = tuple[tuple[Point2, ...], ...]
#: Holes of one kind that are named in the picture; more would hide the part.
NAMED = 12


@dataclass(frozen=True, slots=True)
class HoleGroup:
    """Round holes of one size and treatment. Centres count from the flat's lower left corner; of a body, as drawn."""

    name: str
    diameter_mm: float
    centres_mm: tuple[tuple[float, ...], ...]
    #: The thread to be tapped, the screw to be countersunk for; empty for neither.
    thread: str = ""
    countersink: str = ""
    #: From which side it is countersunk, as the flat lies: up, down; empty where nobody said.
    side: str = ""
    depth_mm: float | None = None
    through: bool = True

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.centres_mm)


@dataclass(frozen=True, slots=True)
class BendLine:
    """A bend of the flat: B1, B2 … in the file's order. None: not said."""

    name: str
    direction: str | None
    angle_deg: float | None
    radius_mm: float | None
    k_factor: float | None
    #: The line's ends, from the lower left corner of the flat.
    start_mm: Point2
    end_mm: Point2

    @property
    def length_mm(self) -> float:
        """How long the line is."""
        return math.dist(self.start_mm, self.end_mm)

    @property
    def at_mm(self) -> Point2:
        """Its middle."""
        (ax, ay), (bx, by) = self.start_mm, self.end_mm
        return (ax + bx) / 2, (ay + by) / 2


@dataclass(frozen=True)
class Drawn:
    """What was drawn and measured. `folded`: None without bends, and where `not_folded` says why."""

    kind: str
    drivers: Drivers
    picture: Sketch | None
    folded: Sketch | None = None
    not_folded: str = ""
    folded_size_mm: Point3 | None = None
    thickness_mm: float | None = None
    holes: tuple[HoleGroup, ...] = ()
    bends: tuple[BendLine, ...] = ()
    #: Names of the bends in an order in which common tools make them; empty where none is known.
    bend_order: tuple[str, ...] = ()
    #: For the 1:1 print: the pieces, and the centres of holes, mm as drawn.
    outline: tuple[Piece, ...] = field(default=(), repr=False)
    crosses: tuple[Point2, ...] = ()


def drawn_of(checked: Checked) -> Drawn:
    """Return what a packet shows of a checked part."""
    if checked.part.kind == "sheet" and checked.choices.process != "powder-bed":
        return _sheet(checked)
    return _body(checked)


def _body(checked: Checked) -> Drawn:
    from lintsvc.reports.picture_sizes import sized_body

    body = checked.part.body
    drivers = drivers_of(checked)
    picture = None
    if body is not None and len(body.faces):
        picture = sized_body(body, _bore_labels(checked), checked.part.size_mm)
    return Drawn("body", drivers, picture, holes=tuple(_bores(checked)))


def _bores(checked: Checked) -> Iterator[HoleGroup]:
    for name, ((diameter, depth, through), bores) in _bore_groups(checked):
        centres = sorted(_point((x.low + x.high) / 2) for x in bores)
        yield HoleGroup(name, diameter, tuple(centres), depth_mm=depth, through=through)


def _bore_groups(checked: Checked) -> list[tuple[str, tuple[tuple[float, float, bool], list[Bore]]]]:
    """Return the round holes of a body by diameter, depth and whether they go through, each group with its name."""
    groups: dict[tuple[float, float, bool], list[Bore]] = {}
    for bore in checked.body.bores:
        groups.setdefault((round(bore.diameter_mm, 2), round(bore.depth_mm, 2), bore.through), []).append(bore)
    return list(zip(_names(), sorted(groups.items(), key=lambda x: x[0]), strict=False))


def _bore_labels(checked: Checked) -> Iterator[Label]:
    """Name one hole of each group in the picture: the opening that lies nearest to the eye."""
    from lintsvc.reports.picture_body import TOWARDS_EYE
    from lintsvc.reports.picture_sizes import Label

    for name, (_, bores) in _bore_groups(checked)[:NAMED]:
        ends = [end for x in bores for end, closed in zip((x.low, x.high), x.closed, strict=True) if not closed] or [
            bores[0].high
        ]
        yield Label(_point(max(ends, key=lambda x: sum(a * b for a, b in zip(x, TOWARDS_EYE, strict=True)))), name)


def _point(values: Floats) -> Point3:
    x, y, z = values.tolist()
    return x, y, z


def _sheet(checked: Checked) -> Drawn:
    from lintsvc.reports.flat_drawing import drawn_box
    from lintsvc.reports.picture_flat import sized_flat

    sheet, flat = checked.part.sheet, checked.flat
    assert sheet is not None  # of this kind
    box = drawn_box(sheet)
    if flat.outers and not flat.unsure:
        boxes = [x.box for x in flat.outers]
        box = (min(x[0] for x in boxes), min(x[1] for x in boxes), max(x[2] for x in boxes), max(x[3] for x in boxes))
    holes = tuple(_holes(checked, box[:2]))
    bends = tuple(_bends(checked, box[:2]))
    folded, size, why = _folded(checked, bends)
    return Drawn(
        "sheet",
        drivers_of(checked),
        sized_flat(sheet, box, [*_hole_notes(holes, box[:2]), *_bend_notes(bends, flat.bends)]),
        folded,
        why,
        size,
        checked.thickness_mm,
        holes,
        bends,
        _order(checked, bends) if folded is not None else (),
        _outline(checked),
        tuple(x.centre_mm for x in flat.holes),
    )


def _holes(checked: Checked, corner: Sequence[float]) -> Iterator[HoleGroup]:
    from lintsvc.model.part import NotMeasurable
    from lintsvc.rulebook.rule import CannotCheck

    threads: dict[int, str] = {}
    sinks: dict[int, tuple[str, str]] = {}
    drilled = checked.flat.holes
    try:
        # With gaps in the outline bridged: else each hole would count as a part.
        drilled = checked.meant.holes
        threads = {x.hole.contour: x.row.name if x.row else x.said for x in checked.screws.tapped if x.hole}
        sinks = {
            x.hole.contour: (x.row.screw if x.row else x.said, _side(checked, x.said, x.hole.centre_mm))
            for x in checked.screws.countersunk
            if x.hole
        }
    except (CannotCheck, NotMeasurable):
        pass  # the report says why; the holes are listed all the same
    groups: dict[tuple[float, str, tuple[str, str]], list[Point2]] = {}
    for hole in drilled:
        key = (round(hole.diameter_mm, 2), threads.get(hole.contour, ""), sinks.get(hole.contour, ("", "")))
        x, y = hole.centre_mm
        groups.setdefault(key, []).append((x - corner[0], y - corner[1]))
    for name, ((diameter, thread, sink), centres) in zip(_names(), sorted(groups.items()), strict=False):
        yield HoleGroup(name, diameter, tuple(sorted(centres)), thread, *sink)


def _side(checked: Checked, screw: str, centre: Point2) -> str:
    """Return from which side a hole is countersunk: as chosen for the nearest place of that screw; else empty."""
    chosen = [(math.dist(x.centre_mm, centre), x.side) for x in checked.choices.countersinks if x.screw == screw]
    return min(chosen)[1] if chosen else ""


def sink_words(group: HoleGroup) -> str:
    """Return 'countersunk for M5 from above', or that nobody said from which side."""
    side = {"up": "from above", "down": "from below"}.get(group.side, "SIDE NOT SAID")
    return f"countersunk for {group.countersink} {side}"


def _names() -> Iterator[str]:
    """Yield A, C, D … Z, AA, AC …; O and I read as 0 and 1, and B, L, T name bends, lengths and the thickness."""
    letters = "ACDEFGHJKMNPQRSUVWXYZ"
    yield from letters
    for first in letters:
        for second in letters:
            yield first + second


def _bends(checked: Checked, corner: Sequence[float]) -> Iterator[BendLine]:
    from lintsvc.rulebook.assumed_bends import bends_shown

    shown = bends_shown(checked)
    for count, (bend, known) in enumerate(zip(checked.flat.bends, shown, strict=True), 1):
        (ax, ay), (bx, by) = bend.start, bend.end
        yield BendLine(
            f"B{count}",
            bend.direction,
            bend.angle_deg,
            bend.radius_mm,
            known.k_factor,
            (ax - corner[0], ay - corner[1]),
            (bx - corner[0], by - corner[1]),
        )


def _middle(bend: Bend) -> Point2:
    return (bend.start[0] + bend.end[0]) / 2, (bend.start[1] + bend.end[1]) / 2


def _hole_notes(holes: Iterable[HoleGroup], corner: Sequence[float]) -> Iterator[Note]:
    from lintsvc.reports.picture_flat import Note

    for group in holes:
        for x, y in (c[:2] for c in group.centres_mm[:NAMED]):
            yield Note((x + corner[0], y + corner[1]), group.name, beside_mm=group.diameter_mm / 2)


def _bend_notes(bends: Iterable[BendLine], lines: Sequence[Bend]) -> Iterator[Note]:
    from lintsvc.reports.picture_flat import BEND_COLOUR, Note

    for bend, line in zip(bends, lines, strict=True):
        (ax, ay), (bx, by) = line.start, line.end
        angle = math.degrees(math.atan2(by - ay, bx - ax))
        upright = angle - 180.0 if angle > 90.0 + 1e-6 else angle + 180.0 if angle <= -90.0 + 1e-6 else angle
        words = bend_words(bend)
        yield Note(_middle(line), words, BEND_COLOUR.get(line.direction, BEND_COLOUR[None]), upright)


def place_words(place: Iterable[float], digits: int) -> str:
    """Return a place so that no shop takes two numbers for one: 'x 19 y 125.3'."""
    return " ".join(f"{axis} {number(round(v + 0.0, digits))}" for axis, v in zip("xyz", place, strict=False))


def bend_words(bend: BendLine) -> str:
    """Return 'B1 up 90°', with a question mark for what is not known."""
    angle = "?" if bend.angle_deg is None else f"{bend.angle_deg:g}"
    return f"{bend.name} {bend.direction or '?'} {angle}°"


def _folded(checked: Checked, bends: Sequence[BendLine]) -> tuple[Sketch | None, Point3 | None, str]:
    """Return the picture of the folded part, its outside size, or why it is not folded."""
    if not bends:
        return None, None, ""
    import numpy as np

    from lintsvc.model.part import NotMeasurable
    from lintsvc.reports.picture_flat import BEND_COLOUR
    from lintsvc.reports.picture_sizes import Label, sized_body
    from lintsvc.rulebook.rule import CannotCheck

    try:
        folded = checked.folded
        size = folded.finished_size_mm
    except (CannotCheck, NotMeasurable) as why:
        return None, None, str(why)
    lines = checked.flat.bends
    # On the side that is seen from above: the upper face of a bend down, the lower of a bend up.
    labels = []
    for bend, line in zip(bends, lines, strict=True):
        point = folded.folded_points(np.array([_middle(line)]), folded.thickness_mm / 2)[0]
        if not np.isnan(point).any():
            x, y, z = point.tolist()
            labels.append(Label((x, y, z), bend_words(bend), BEND_COLOUR.get(line.direction, BEND_COLOUR[None])))
    return sized_body(folded.body, labels), size, ""


def _order(checked: Checked, bends: Sequence[BendLine]) -> tuple[str, ...]:
    from lintsvc.model.part import NotMeasurable
    from lintsvc.rulebook.rule import CannotCheck

    try:
        found = checked.bend_order.order
    except (CannotCheck, NotMeasurable):
        return ()
    return tuple(" with ".join(bends[n].name for n in operation) for operation in found or ())


def _outline(checked: Checked) -> tuple[Piece, ...]:
    """Return each piece's outer ring and the rings cut out of it; none where it is not sure which is which."""
    flat = checked.flat
    if flat.unsure:
        return ()
    pieces = []
    for contour in (x for x in flat.contours if x.role != "cutout"):
        rings = [contour, *(x for x in flat.cutouts if x.parent == contour.number)]
        pieces.append(tuple(tuple((float(x), float(y)) for x, y in ring.points.tolist()) for ring in rings))
    return tuple(pieces)
