"""Round holes and slots among the cutouts, drawn as circles, as arcs, or as polygons of lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import ARC, Curves
from lintsvc.measure.flat_weld import Floats
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where

#: A polygon with fewer corners than this is meant as one: a hexagon takes a nut.
LEAST_CORNERS = 8
#: Corners of a polygon drawn for a circle lie on it within this, or within a share of its radius.
ROUND_WITHIN_MM = 0.02
ROUND_WITHIN_SHARE = 0.01
#: Points of a slot's outline lie on the ideal slot within this.
SLOT_WITHIN_MM = 0.02


@dataclass(frozen=True, slots=True)
class RoundHole:
    """A round hole. `exact`: drawn with a true circle or arcs; else `tolerance_mm` is how far its polygon's
    sides lie inside the circle through its corners, whose diameter is given."""

    diameter_mm: float
    centre_mm: tuple[float, float]
    entities: tuple[int, ...]
    contour: int
    exact: bool = True
    tolerance_mm: float = 0.0

    @property
    def where(self) -> Where:
        """Its place, with the diameter as span."""
        (x, y), radius = self.centre_mm, self.diameter_mm / 2
        rim = [(x - radius, y - radius), (x + radius, y + radius)]
        return where(rim, self.entities, at=self.centre_mm, span=((x - radius, y), (x + radius, y)))


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot: `width_mm` across, `length_mm` overall, along the line from `start` to `end` (its centre line).

    `round_ends`: the ends are half circles, and the centre line runs between their centres; else it is a
    rectangle at least twice as long as wide, and the line runs from end to end.
    """

    width_mm: float
    length_mm: float
    start: tuple[float, float]
    end: tuple[float, float]
    round_ends: bool
    entities: tuple[int, ...]
    contour: int

    @property
    def where(self) -> Where:
        """Its place, with the width as span."""
        (ax, ay), (bx, by) = self.start, self.end
        x, y, long = (ax + bx) / 2, (ay + by) / 2, math.dist(self.start, self.end)
        dx, dy = -(by - ay) / long * self.width_mm / 2, (bx - ax) / long * self.width_mm / 2
        return where([self.start, self.end], self.entities, at=(x, y), span=((x - dx, y - dy), (x + dx, y + dy)))


def round_hole(curves: Curves, contour: Contour) -> RoundHole | None:
    """Return the contour as a round hole, or None where it is none."""
    if contour.circle is not None:
        x, y, radius = contour.circle
        return RoundHole(2 * radius, (x, y), contour.entities, contour.number)
    which = np.unique(contour.curves)
    if (curves.kind[which] == ARC).all():
        centre, radii = curves.centre[which], curves.radius[which]
        if np.ptp(radii) <= ROUND_WITHIN_MM and (np.ptp(centre, axis=0) <= ROUND_WITHIN_MM).all():
            x, y = centre.mean(axis=0).tolist()
            return RoundHole(float(2 * radii.mean()), (x, y), contour.entities, contour.number)
    # A circle encloses the most for its length; a regular octagon still reaches 0.948 of that.
    if len(contour.points) < LEAST_CORNERS or 4 * np.pi * contour.area_mm2 < 0.93 * contour.length_mm**2:
        return None
    fitted, radius, off = _circle_through(contour.points)
    if off > max(ROUND_WITHIN_MM, ROUND_WITHIN_SHARE * radius):
        return None
    step = np.hypot(*(np.roll(contour.points, -1, axis=0) - contour.points).T)
    # No side longer than an octagon's: half a circle and a straight line is no hole.
    if step.max() > 2 * radius * np.sin(np.pi / LEAST_CORNERS) * 1.01:
        return None
    inside = radius - np.sqrt(max(0.0, radius**2 - float(step.max()) ** 2 / 4))
    x, y = fitted.tolist()
    return RoundHole(2 * radius, (x, y), contour.entities, contour.number, False, float(inside))


def _circle_through(points: Floats) -> tuple[Floats, float, float]:
    """Return centre, radius and largest miss of the circle that fits points best (least squares, Kåsa 1976)."""
    home = points.mean(axis=0)
    p = points - home
    left = np.column_stack([2 * p, np.ones(len(p))])
    (x, y, c), *_ = np.linalg.lstsq(left, (p**2).sum(axis=1), rcond=None)
    radius = float(np.sqrt(max(0.0, c + x * x + y * y)))
    off = np.abs(np.hypot(p[:, 0] - x, p[:, 1] - y) - radius)
    return home + np.array([x, y]), radius, float(off.max())


def slots_among(curves: Curves, contours: Sequence[Contour]) -> list[Slot]:
    """Return those of the contours that are slots with round or square ends."""
    import shapely

    if not contours:
        return []
    frames = shapely.oriented_envelope(np.array([x.polygon for x in contours], object))
    found = []
    for contour, frame in zip(contours, np.asarray(frames, object), strict=True):
        corners = shapely.get_coordinates(frame)
        if len(corners) == 5 and (one := _slot(curves, contour, corners)) is not None:
            found.append(one)
    return found


def _slot(curves: Curves, contour: Contour, corners: Floats) -> Slot | None:
    """Return a contour as a slot, given the corners (5, 2) of the smallest rectangle around it."""
    import shapely

    (ax, ay), (bx, by), (cx, cy) = corners[:3].tolist()
    one, other = math.hypot(bx - ax, by - ay), math.hypot(cx - bx, cy - by)
    length, width = max(one, other), min(one, other)
    full = abs(contour.area_mm2 - length * width) <= SLOT_WITHIN_MM * (length + width)
    # The area tells most other shapes apart at once; a rectangle with cut corners only the points do.
    rounded = width * (length - width) + math.pi * width**2 / 4
    near = SLOT_WITHIN_MM + curves.chord_mm
    obround = abs(contour.area_mm2 - rounded) <= near * contour.length_mm / 2 + 0.02 * width**2
    if not width or length < width * 1.02 or not (full or obround):
        return None
    unit = (corners[1] - corners[0] if one > other else corners[2] - corners[1]) / length
    middle = corners[:4].mean(axis=0)
    if full and length >= 2 * width * (1 - 1e-6) and _all_near_box(contour.points, middle, unit, length, width):
        return _made(width, length, middle, unit * length / 2, False, contour)
    half = unit * (length - width) / 2
    line = shapely.LineString([middle - half, middle + half])
    off = np.abs(shapely.distance(shapely.points(contour.points), line) - width / 2)
    return _made(width, length, middle, half, True, contour) if obround and off.max() <= near else None


def _all_near_box(points: Floats, middle: Floats, unit: Floats, length: float, width: float) -> bool:
    across = np.array([-unit[1], unit[0]])
    along, off = (points - middle) @ unit, (points - middle) @ across
    x, y = np.abs(along), np.abs(off)
    at_end, at_side = np.abs(x - length / 2) <= SLOT_WITHIN_MM, np.abs(y - width / 2) <= SLOT_WITHIN_MM
    # All four corners too: one that is cut off has its points on the sides all the same.
    corners = {(bool(p > 0), bool(q > 0)) for p, q in zip(along[at_end & at_side], off[at_end & at_side], strict=True)}
    return bool((at_end | at_side).all()) and len(corners) == 4


def _made(width: float, length: float, middle: Floats, half: Floats, round_ends: bool, contour: Contour) -> Slot:
    (ax, ay), (bx, by) = (middle - half).tolist(), (middle + half).tolist()
    return Slot(width, length, (ax, ay), (bx, by), round_ends, contour.entities, contour.number)
