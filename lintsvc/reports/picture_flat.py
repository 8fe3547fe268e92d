"""A picture of a flat as a drawing for a page: lines by what they are for, with findings or with sizes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lintsvc.model.finding import Finding
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Point2, Shape, Sheet
from lintsvc.reports.colours import LEVEL, ROLE
from lintsvc.reports.flat_drawing import Box, drawn_box, lines_of, marks, on_circle, sweep_deg
from lintsvc.reports.picture_body import numbered_ring
from lintsvc.reports.sketch import INK, WHITE, Item, Point, Ring, Sketch, Stroke, Words, dimension

#: The part is drawn within this, points.
_WIDE, _HIGH = 400.0, 260.0
_MARGIN = 30.0
#: A flat is not enlarged beyond this.
_MOST_SCALE = 72 / 25.4 * 4
#: Arcs are drawn with one corner for so many degrees.
_STEP_DEG = 6.0
_MOST_RING = 60.0
#: Dashes tell up from down on a grey print; the colours are dark enough for small letters there.
BEND_DASH = {"up": (5.0, 2.5), "down": (9.0, 2.0, 1.5, 2.0), None: (1.5, 1.5)}
BEND_COLOUR = {"up": "#174a8a", "down": "#7d4300", None: ROLE["bend"]}


@dataclass(frozen=True, slots=True)
class Note:
    """Words at a place of the flat: the name of a hole, a bend and its direction."""

    at: Point2
    text: str
    colour: str = INK
    angle_deg: float = 0.0
    #: Beside the place (a hole's name must not cover it) by so many mm.
    beside_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class _Frame:
    """From the flat's mm to the page's points."""

    scale: float
    shift: Point

    def __call__(self, point: Point2) -> Point:
        return point[0] * self.scale + self.shift[0], point[1] * self.scale + self.shift[1]


def flat_sketch(sheet: Sheet, findings: Sequence[Finding] = ()) -> Sketch:
    """Return the flat with a numbered ring at each finding; numbers are those of the ranked list, from 1."""
    frame, width, height = _frame(drawn_box(sheet))
    items = list(_drawn(sheet.entities, frame))
    for mark in marks(sheet, findings):
        where = mark.finding.where
        colour = LEVEL[mark.level]
        numbers = [x for x in (where.entities if where else ()) if 0 <= x < len(sheet.entities)]
        lit = [shape for number in numbers for shape in sheet.entities[number].shapes]
        items += [Stroke(_points(shape, frame), colour, 1.6) for shape in lit]
        items += [Stroke((frame(a), frame(b)), colour, 1.2) for a, b in lines_of(mark.finding)]
        radius = max(7.0, mark.radius_mm * frame.scale)
        # A ring around the whole part says no more than its lit lines do.
        whole = where is None or radius > _MOST_RING
        centre = frame((where.point[0], where.point[1])) if where is not None and whole else frame(mark.centre)
        items += numbered_ring(mark.number, mark.level, centre, 7.0 if whole else radius)
    return Sketch(width, height, tuple(items), "the flat, its findings ringed")


def flat_close(sheet: Sheet, number: int, finding: Finding) -> Sketch | None:
    """Return a picture near to one finding, `number` in the list; None where the whole picture is no farther away."""
    where = finding.where
    whole = drawn_box(sheet)
    size = max(whole[2] - whole[0], whole[3] - whole[1], 1e-6)
    if where is None:
        return None
    (x0, y0, _), (x1, y1, _) = where.box
    reach = max(x1 - x0, y1 - y0)
    if reach > _MOST_CLOSE * size:
        return None
    half = max(0.9 * reach, _LEAST_SHOWN * size)
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    frame, width, height = _frame((x - half, y - half, x + half, y + half), most_scale=_MOST_CLOSE_SCALE)
    items = [x for x in _drawn(sheet.entities, frame) if _within(x, width, height)]
    colour = LEVEL[finding.level]
    lit = [s for n in where.entities if 0 <= n < len(sheet.entities) for s in sheet.entities[n].shapes]
    items += [Stroke(_points(shape, frame), colour, 2.2) for shape in lit]
    items += [Stroke((frame(a), frame(b)), colour, 2.0) for a, b in lines_of(finding)]
    if where.span is not None:
        a, b = (frame((p[0], p[1])) for p in where.span)
        items += [Stroke((a, b), INK, 1.2), Ring(a, 2.0, INK, 1.0, fill=WHITE), Ring(b, 2.0, INK, 1.0, fill=WHITE)]
    else:
        items += numbered_ring(number, finding.level, frame((where.point[0], where.point[1])), 9.0)
    return Sketch(width, height, tuple(items), f"finding {number}, near to", clipped=True)


def _within(item: Item, width: float, height: float) -> bool:
    """True where some of a line may lie in a picture of this size."""
    if isinstance(item, Ring):
        points: tuple[Point, ...] = (item.centre,)
        more = item.radius
    elif isinstance(item, Stroke):
        points, more = item.points, 0.0
    else:
        return True
    x, y = [p[0] for p in points], [p[1] for p in points]
    return min(x) - more <= width and max(x) + more >= 0 and min(y) - more <= height and max(y) + more >= 0


#: As for bodies.
_MOST_CLOSE, _LEAST_SHOWN = 0.5, 0.06
_MOST_CLOSE_SCALE = 72 / 25.4 * 40


#: A round hole of this radius on the page, points, has room for its name within.
_LARGE_HOLE = 24.0


def sized_flat(sheet: Sheet, box: Box, notes: Iterable[Note]) -> Sketch:
    """Return the flat with its overall sizes and with notes. `box`: x0, y0, x1, y1 of the part, mm."""
    frame, width, height = _frame(box)
    items = list(_drawn((x for x in sheet.entities if x.role != "note"), frame))
    x0, y0, x1, y1 = box
    low_left, low_right, up_left = frame((x0, y0)), frame((x1, y0)), frame((x0, y1))
    items += dimension(low_left, low_right, f"{_size(x1 - x0)} mm", away=-16.0)
    items += dimension(low_left, up_left, f"{_size(y1 - y0)} mm", away=16.0)
    for note in notes:
        x, y = frame(note.at)
        if note.beside_mm:
            radius = note.beside_mm * frame.scale
            # Beside a small hole, within a large one, whose rim may have holes beside it. No white around it: a line
            # with a gap would look like one that is open.
            gap = radius * 0.71 + (5.0 if radius < _LARGE_HOLE else -6.0)
            items.append(Words((x + gap, y + gap), note.text, 7.5, note.colour, bold=True, halo=False))
        else:
            items.append(Words((x, y), note.text, 7.0, note.colour, angle_deg=note.angle_deg))
    return Sketch(width, height, tuple(items), "the flat with its sizes")


def _frame(box: Box, most_scale: float = _MOST_SCALE) -> tuple[_Frame, float, float]:
    """Return the frame that fits a box on the page, and the page's width and height."""
    x0, y0, x1, y1 = box
    wide, high = max(x1 - x0, 1e-6), max(y1 - y0, 1e-6)
    scale = min(_WIDE / wide, _HIGH / high, most_scale)
    frame = _Frame(scale, (_MARGIN - x0 * scale, _MARGIN - y0 * scale))
    return frame, wide * scale + 2 * _MARGIN, high * scale + 2 * _MARGIN


def _drawn(entities: Iterable[Entity], frame: _Frame) -> Iterable[Item]:
    for entity in entities:
        bend = entity.role == "bend"
        colour = BEND_COLOUR[entity.bend_direction] if bend else ROLE[entity.role]
        dash = BEND_DASH[entity.bend_direction] if bend else ()
        width = 0.7 if bend else 0.8
        for shape in entity.shapes:
            if isinstance(shape, Circle):
                yield Ring(frame(shape.centre), shape.radius_mm * frame.scale, colour, width, dash)
            else:
                yield Stroke(_points(shape, frame), colour, width, dash)


def _points(shape: Shape, frame: _Frame) -> tuple[Point, ...]:
    match shape:
        case Line(start, end):
            return frame(start), frame(end)
        case Circle(centre, radius):
            return _arc(Arc(centre, radius, 0.0, 360.0), frame)
        case Arc():
            return _arc(shape, frame)
        case _:
            return tuple(frame(x) for x in shape.points)


def _arc(arc: Arc, frame: _Frame) -> tuple[Point, ...]:
    sweep = sweep_deg(arc)
    steps = max(2, math.ceil(sweep / _STEP_DEG))
    return tuple(
        frame(on_circle(arc.centre, arc.radius_mm, arc.start_deg + sweep * i / steps)) for i in range(steps + 1)
    )


def _size(value: float) -> str:
    return f"{round(value, 2):g}"
