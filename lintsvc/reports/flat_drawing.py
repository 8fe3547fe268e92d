"""What drawings of a flat share: its box, points on its arcs, and where the findings' marks go."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lintsvc.model.finding import Finding, Level
from lintsvc.model.sheet import Arc, Circle, Line, Point2, Shape, Sheet

Box = tuple[float, float, float, float]
#: A finding gets a ring around all of it where it reaches over no more than this share of the drawing.
MOST_RINGED = 0.2


def sweep_deg(arc: Arc) -> float:
    """Return the angle that an arc covers, above 0 and at most 360."""
    return (arc.end_deg - arc.start_deg) % 360.0 or 360.0


def on_circle(centre: Point2, radius: float, degrees: float) -> Point2:
    """Return the point of a circle at an angle."""
    angle = math.radians(degrees)
    return centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)


def drawn_box(sheet: Sheet) -> Box:
    """Return x0, y0, x1, y1 around everything drawn, arcs by what is drawn of them. Zeros for an empty sheet."""
    points = [p for entity in sheet.entities for shape in entity.shapes for p in _extremes(shape)]
    if not points:
        return (0.0, 0.0, 0.0, 0.0)
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def _extremes(shape: Shape) -> Sequence[Point2]:
    match shape:
        case Line(start, end):
            return start, end
        case Circle(centre, radius):
            return (centre[0] - radius, centre[1] - radius), (centre[0] + radius, centre[1] + radius)
        case Arc(centre, radius, start, end):
            sweep = sweep_deg(shape)
            quarters = (x for x in (0.0, 90.0, 180.0, 270.0) if (x - start) % 360.0 <= sweep)
            return [on_circle(centre, radius, x) for x in (start, end, *quarters)]
        case _:
            return shape.points


@dataclass(frozen=True, slots=True)
class Mark:
    """A circle around a finding, with its number in the ranked list (from 1)."""

    number: int
    finding: Finding
    centre: Point2
    radius_mm: float

    @property
    def level(self) -> Level:
        """The finding's level."""
        return self.finding.level


def marks(sheet: Sheet, findings: Sequence[Finding]) -> Iterator[Mark]:
    """Yield a mark for each finding that has a place: around its box, and never too small to see.

    What reaches over much of the drawing is marked at its worst place alone: its lines are lit, and a ring around
    them all would say no more and lie over everything else.
    """
    x0, y0, x1, y1 = drawn_box(sheet)
    whole = math.hypot(x1 - x0, y1 - y0)
    least = 0.012 * whole or 1.0
    for number, finding in enumerate(findings, 1):
        if finding.where is None:
            continue
        (ax, ay, _), (bx, by, _) = finding.where.box
        reach = math.hypot(bx - ax, by - ay)
        if reach > MOST_RINGED * whole:
            yield Mark(number, finding, (finding.where.point[0], finding.where.point[1]), least)
        else:
            yield Mark(number, finding, ((ax + bx) / 2, (ay + by) / 2), 0.55 * reach + least)


def lines_of(finding: Finding) -> list[tuple[Point2, Point2]]:
    """Return the line pieces to draw for a finding: its own, and the measured distance."""
    where = finding.where
    if where is None:
        return []
    pieces = [*where.lines, *([where.span] if where.span else [])]
    return [((a[0], a[1]), (b[0], b[1])) for a, b in pieces]
