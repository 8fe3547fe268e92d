"""Flats made in code: sheets of drawn shapes, and copies of them moved, turned, mirrored, scaled, shuffled, cut up."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.model.choices import Choices
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Point2, Polyline, Role, Shape, Sheet
from lintsvc.model.units import Units

Drawn = Shape | Sequence[Shape]


def sheet(*drawn: Drawn, role: Role = "cut", thickness_mm: float | None = None) -> Sheet:
    """A sheet of entities: a shape makes one, a list of shapes makes one of several shapes."""
    shapes = [(x,) if isinstance(x, (Line, Arc, Circle, Polyline)) else tuple(x) for x in drawn]
    return Sheet(
        tuple(Entity(k, f"#{k}", _kind(x[0]), "0", x, role=role) for k, x in enumerate(shapes)), 0.005, thickness_mm
    )


def _kind(shape: Shape) -> str:
    return {"Polyline": "lwpolyline"}.get(type(shape).__name__, type(shape).__name__.lower())


def measured(*drawn: Drawn, thickness_mm: float | None = 2.0) -> FlatMeasurements:
    """Measurements of a sheet of shapes."""
    return FlatMeasurements(sheet(*drawn), Choices(thickness_mm=thickness_mm), None)


def part(flat: Sheet, *, stated: bool = True) -> Part:
    """A part of a sheet."""
    units = Units("mm", stated, "the test says so")
    return Part("flat", "0" * 64, "DXF", "sheet", units, (0.0, 0.0, 0.0), sheet=flat)


# ---- shapes


def ring(points: Sequence[Point2]) -> list[Line]:
    """Lines around."""
    return [Line(a, b) for a, b in pairwise([*points, points[0]])]


def loop(points: Sequence[Point2]) -> Polyline:
    """A closed polyline."""
    return Polyline((*points, points[0]))


def rectangle(x: float, y: float, wide: float, high: float) -> list[Point2]:
    """Corners, counter-clockwise."""
    return [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]


def polygon(x: float, y: float, radius: float, sides: int, turn_deg: float = 0.0) -> list[Point2]:
    """Corners of a regular polygon on a circle."""
    angles = [math.radians(turn_deg) + math.tau * k / sides for k in range(sides)]
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]


def slot(x: float, y: float, long: float, wide: float) -> list[Shape]:
    """A slot along x with round ends, `long` overall."""
    r, half = wide / 2, (long - wide) / 2
    return [
        Line((x - half, y - r), (x + half, y - r)),
        Arc((x + half, y), r, 270.0, 450.0),
        Line((x + half, y + r), (x - half, y + r)),
        Arc((x - half, y), r, 90.0, 270.0),
    ]


def plate(wide: float = 100.0, high: float = 60.0) -> list[Line]:
    """A plate with a corner at the origin."""
    return ring(rectangle(0.0, 0.0, wide, high))


# ---- copies


def mapped(flat: Sheet, point: Callable[[Point2], Point2], scale: float = 1.0, turn_deg: float = 0.0) -> Sheet:
    """The sheet under a map that keeps shapes, mirroring aside: `point` maps points, arcs turn by `turn_deg`."""

    def shape(x: Shape) -> Shape:
        if isinstance(x, Line):
            return Line(point(x.start), point(x.end))
        if isinstance(x, Polyline):
            return Polyline(tuple(point(p) for p in x.points))
        if isinstance(x, Circle):
            return Circle(point(x.centre), x.radius_mm * scale)
        return Arc(point(x.centre), x.radius_mm * scale, x.start_deg + turn_deg, x.end_deg + turn_deg)

    return _with(flat, [tuple(shape(s) for s in e.shapes) for e in flat.entities])


def _with(flat: Sheet, shapes: Iterable[tuple[Shape, ...]]) -> Sheet:
    return sheet(*shapes, role=flat.entities[0].role, thickness_mm=flat.thickness_mm)


def moved(flat: Sheet, dx: float, dy: float) -> Sheet:
    """The sheet elsewhere."""
    return mapped(flat, lambda p: (p[0] + dx, p[1] + dy))


def turned(flat: Sheet, degrees: float) -> Sheet:
    """The sheet turned about the origin."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return mapped(flat, lambda p: (c * p[0] - s * p[1], s * p[0] + c * p[1]), turn_deg=degrees)


def mirrored(flat: Sheet) -> Sheet:
    """The sheet from behind: x becomes −x."""

    def shape(x: Shape) -> Shape:
        if isinstance(x, Line):
            return Line((-x.start[0], x.start[1]), (-x.end[0], x.end[1]))
        if isinstance(x, Polyline):
            return Polyline(tuple((-a, b) for a, b in x.points))
        if isinstance(x, Circle):
            return Circle((-x.centre[0], x.centre[1]), x.radius_mm)
        return Arc((-x.centre[0], x.centre[1]), x.radius_mm, 180.0 - x.end_deg, 180.0 - x.start_deg)

    return _with(flat, [tuple(shape(s) for s in e.shapes) for e in flat.entities])


def shuffled(flat: Sheet, seed: int) -> Sheet:
    """The entities in another order, lines and polylines drawn the other way by chance."""
    chance = random.Random(seed)

    def back(x: Shape) -> Shape:
        if chance.random() < 0.5 and isinstance(x, Line):
            return Line(x.end, x.start)
        if chance.random() < 0.5 and isinstance(x, Polyline):
            return Polyline(x.points[::-1])
        return x

    shapes = [tuple(back(s) for s in e.shapes) for e in flat.entities]
    chance.shuffle(shapes)
    return _with(flat, shapes)


def cut_up(flat: Sheet, seed: int) -> Sheet:
    """Lines and arcs cut into two pieces at a place by chance, each its own entity."""
    chance = random.Random(seed)
    shapes: list[tuple[Shape, ...]] = []
    for x in (s for e in flat.entities for s in e.shapes):
        share = chance.uniform(0.2, 0.8)
        if isinstance(x, Line):
            (ax, ay), (bx, by) = x.start, x.end
            middle = (ax + share * (bx - ax), ay + share * (by - ay))
            shapes += [(Line(x.start, middle),), (Line(middle, x.end),)]
        elif isinstance(x, Arc):
            angle = x.start_deg + share * ((x.end_deg - x.start_deg) % 360.0)
            first, second = Arc(x.centre, x.radius_mm, x.start_deg, angle), Arc(x.centre, x.radius_mm, angle, x.end_deg)
            shapes += [(first,), (second,)]
        else:
            shapes.append((x,))
    return _with(flat, shapes)
