"""Curves into shapes: circles and arcs keep their true radius, everything else becomes points within a tolerance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lintsvc.model.part import Unreadable
from lintsvc.model.sheet import Arc, Circle, Line, Point2, Polyline, Shape
from lintsvc.readers.flat_affine import Affine

#: How far a flattened curve may lie from the true one. Half of what is promised to the outside (0.01 mm).
CHORD_TOLERANCE_MM = 0.005
#: No curve gets more points than this; a curve that needs more makes the stated tolerance larger.
MOST_POINTS_A_CURVE = 8192
#: All flattened curves of one file together: bounds memory to about 200 MB.
MOST_POINTS_A_FILE = 2_000_000
#: What a circle or an arc takes from that: it has no points, but takes time.
_ROUND_COST = 6
#: An arc that leaves its chord by less is a line: its radius could not be told from its end points.
STRAIGHT_MM = 1e-5
#: A turn this close to 360° is a full circle (degrees).
FULL_TURN_DEG = 1e-6


@dataclass
class Flattening:
    """Makes points of curves, within a budget, and keeps the worst distance left to the true curve."""

    tolerance_mm: float = CHORD_TOLERANCE_MM
    worst_mm: float = 0.0
    points_left: int = MOST_POINTS_A_FILE

    @property
    def stated_mm(self) -> float:
        """The tolerance that holds for everything flattened so far."""
        return max(self.tolerance_mm, self.worst_mm)

    def spend(self, points: int) -> None:
        """Take points from the budget. Raises Unreadable when it is used up."""
        self.points_left -= points
        if self.points_left < 0:
            raise Unreadable(
                f"The drawing's curves need more than {MOST_POINTS_A_FILE:,} points.",
                remedy="Export the part alone, with simpler curves.",
            )

    def pieces(self, bend_mm: float, cost: int = 1) -> int:
        """Return into how many equal steps of its parameter (0 to 1) a curve is cut.

        `bend_mm`: the largest second derivative. A chord over a step h lies within h² · bend / 8 of the
        curve (the error of linear interpolation), which gives the number of steps. `cost`: what a point
        takes from the budget.
        """
        if not math.isfinite(bend_mm):
            raise Unreadable("A curve's size is not a number.", remedy="Export the drawing again.")
        # The roots are divided, for the quotient may be more than a number can hold.
        count = max(1, math.ceil(math.sqrt(bend_mm) / math.sqrt(8 * self.tolerance_mm)))
        if count > MOST_POINTS_A_CURVE:
            count = MOST_POINTS_A_CURVE
            self.worst_mm = max(self.worst_mm, bend_mm / (8 * count * count))
        self.spend(count * cost)
        return count

    def ellipse(self, place: Affine, start: float, sweep: float) -> list[Point2]:
        """Return points of the unit circle under a map, from angle `start` through `sweep` (radians), ends included."""
        count = max(self.pieces(place.largest_stretch() * sweep * sweep), math.ceil(abs(sweep) / (math.pi / 4)))
        step = sweep / count
        points = [place.at(math.cos(start + i * step), math.sin(start + i * step)) for i in range(count + 1)]
        if abs(abs(sweep) - math.tau) < 1e-9:
            points[-1] = points[0]
        return points

    def bezier(self, control: list[Point2]) -> list[Point2]:
        """Return points of a quadratic or cubic Bézier curve without its first point."""
        if len(control) == 3:
            (x0, y0), (x1, y1), (x2, y2) = control
            ax, ay = x0 - 2 * x1 + x2, y0 - 2 * y1 + y2
            count = self.pieces(2 * math.hypot(ax, ay))
            bx, by = 2 * (x1 - x0), 2 * (y1 - y0)
            steps = (i / count for i in range(1, count))
            return [*((x0 + t * (bx + t * ax), y0 + t * (by + t * ay)) for t in steps), (x2, y2)]
        (x0, y0), (x1, y1), (x2, y2), (x3, y3) = control
        # The second derivative of a cubic runs linearly between these two: its largest is at an end.
        first = math.hypot(x0 - 2 * x1 + x2, y0 - 2 * y1 + y2)
        second = math.hypot(x1 - 2 * x2 + x3, y1 - 2 * y2 + y3)
        count = self.pieces(6 * max(first, second))
        cx, cy = 3 * (x1 - x0), 3 * (y1 - y0)
        bx, by = 3 * (x0 - 2 * x1 + x2), 3 * (y0 - 2 * y1 + y2)
        ax, ay = x3 - x0 + 3 * (x1 - x2), y3 - y0 + 3 * (y1 - y2)
        steps = (i / count for i in range(1, count))
        return [*((x0 + t * (cx + t * (bx + t * ax)), y0 + t * (cy + t * (by + t * ay))) for t in steps), (x3, y3)]

    def circular(self, place: Affine, centre: Point2, radius: float, start: float, sweep: float) -> Shape:
        """Return a circular arc (angles in radians, `sweep` signed) under a map.

        A Circle or an Arc where the map keeps it round, else a Polyline. An arc runs counter-clockwise
        in the model, so its ends swap where it is drawn the other way.
        """
        kept = place.similarity()
        if kept is None:
            unit = place.of(Affine(radius, 0.0, 0.0, radius, *centre))
            return Polyline(tuple(self.ellipse(unit, start, sweep)))
        self.spend(_ROUND_COST)
        middle = place.at(*centre)
        size = radius * kept.scale
        if abs(math.degrees(sweep)) >= 360 - FULL_TURN_DEG:
            return Circle(middle, size)
        begin, end = math.degrees(start), math.degrees(start + sweep)
        if kept.mirrored:
            begin, end = -begin, -end
        if (sweep < 0) != kept.mirrored:
            begin, end = end, begin
        begin = (begin + kept.angle_deg) % 360
        return Arc(middle, size, begin, begin + math.degrees(abs(sweep)))


def bulge_arc(start: Point2, end: Point2, bulge: float) -> tuple[Point2, float, float, float] | None:
    """Return centre, radius, start angle and signed sweep (radians) of a polyline's bulge; None where it is straight.

    A bulge is the tangent of a quarter of the angle, positive for counter-clockwise (DXF reference, LWPOLYLINE).
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if chord == 0 or abs(bulge) * chord / 2 < STRAIGHT_MM:
        return None
    if not abs(bulge) < 1e6:
        raise Unreadable(f"A polyline has a bulge of {bulge:g}; no arc is meant by that.", remedy="Draw it again.")
    # The centre lies on the chord's perpendicular, to the left of it for a small positive bulge.
    offset = (1 - bulge * bulge) / (4 * bulge)
    cx, cy = (start[0] + end[0]) / 2 - dy * offset, (start[1] + end[1]) / 2 + dx * offset
    angle = math.atan2(start[1] - cy, start[0] - cx)
    return (cx, cy), chord * (1 + bulge * bulge) / (4 * abs(bulge)), angle, 4 * math.atan(bulge)


def straight(points: list[Point2]) -> Shape | None:
    """Return points as a Line or a Polyline, doubled points left out; None where no length is left."""
    kept = points[:1]
    for point in points[1:]:
        if point != kept[-1]:
            kept.append(point)
    if len(kept) < 2:
        return None
    return Line(kept[0], kept[1]) if len(kept) == 2 else Polyline(tuple(kept))
