"""Corners that a round beam cannot cut as drawn, points too sharp to stay, and contours drawn too finely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lintsvc.measure.flat_boundary import Boundary, boundary_of
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import ARC, LINE, Curves
from lintsvc.measure.flat_weld import Floats
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where

#: A corner that turns by less is the facet of a curve or does no harm (degrees).
SHARP_DEG = 40.0
#: Points wider than this are no tips (degrees).
TIP_DEG = 60.0
#: A side shorter than this makes no corner of its own.
_SIDE_MM = 0.02
#: A point with a shorter side than half the thinnest kerf does not show in the cut.
_TIP_SIDE_MM = 0.05
#: A contour drawn with fewer points than this is never too fine.
MANY_POINTS = 1000
#: What a contour needs is counted to this accuracy: a tenth of the thinnest kerf.
NEEDED_WITHIN_MM = 0.01
#: Kinds of entity that the reader itself turns into points: their number is not the drawing's fault.
_FLATTENED = frozenset({"spline", "ellipse", "helix"})


@dataclass(frozen=True, slots=True)
class Corner:
    """An inside corner of the material's edge: `radius_mm` as drawn, 0 for a sharp one."""

    radius_mm: float
    turn_deg: float
    point: tuple[float, float]
    entities: tuple[int, ...]
    contour: int

    @property
    def where(self) -> Where:
        """Its place."""
        return where([self.point], self.entities)


@dataclass(frozen=True, slots=True)
class Tip:
    """A sharp point: a notch in the material (`void`) or a spike of it, `angle_deg` wide."""

    side: Literal["material", "void"]
    angle_deg: float
    point: tuple[float, float]
    entities: tuple[int, ...]
    contour: int

    @property
    def where(self) -> Where:
        """Its place."""
        return where([self.point], self.entities)


@dataclass(frozen=True, slots=True)
class FineContour:
    """A contour drawn with `drawn` points where `needed` would keep within NEEDED_WITHIN_MM."""

    drawn: int
    needed: int
    contour: int
    where: Where


def corners_and_tips(curves: Curves, contours: Sequence[Contour]) -> tuple[list[Corner], list[Tip]]:
    """Return the inside corners of contours (sharp, or arcs of small radius), and their sharp points."""
    edge = boundary_of(contours)
    long = np.hypot(*(edge.b - edge.a).T)
    before = edge.curve[edge.before]
    on_arc = (edge.curve == before) & (curves.kind[edge.curve] == ARC)
    real = (long > _SIDE_MM) & (long[edge.before] > _SIDE_MM) & ~on_arc
    # With the material on the left, a right turn is an inside corner of it.
    turn = np.degrees(edge.turn)
    one, other = curves.entity[before], curves.entity[edge.curve]

    def entities(k: int) -> tuple[int, ...]:
        a, b = int(one[k]), int(other[k])
        return (a,) if a == b else (min(a, b), max(a, b))

    corners = []
    for k in np.flatnonzero(real & (turn <= -SHARP_DEG)).tolist():
        x, y = edge.a[k].tolist()
        corners.append(Corner(0.0, float(-turn[k]), (x, y), entities(k), int(edge.contour[k])))
    tips = []
    plain = (long > _TIP_SIDE_MM) & (long[edge.before] > _TIP_SIDE_MM)
    for k in np.flatnonzero(real & plain & (np.abs(turn) >= 180.0 - TIP_DEG)).tolist():
        x, y = edge.a[k].tolist()
        side: Literal["material", "void"] = "void" if turn[k] < 0 else "material"
        tips.append(Tip(side, 180.0 - float(abs(turn[k])), (x, y), entities(k), int(edge.contour[k])))
    return corners + _rounded(curves, edge), tips


def _rounded(curves: Curves, edge: Boundary) -> list[Corner]:
    """Return arcs that round an inside corner."""
    sides = np.flatnonzero(curves.kind[edge.curve] == ARC)
    arc = edge.curve[sides]
    u, v = edge.a[sides] - curves.centre[arc], edge.b[sides] - curves.centre[arc]
    # Run through clockwise, with the material on the left, an arc is hollow on the side of the void.
    hollow = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0) & (np.degrees(curves.sweep[arc]) >= SHARP_DEG)
    found = []
    for c, contour in sorted(set(zip(arc[hollow].tolist(), edge.contour[sides[hollow]].tolist(), strict=True))):
        middle = float(curves.start[c] + curves.sweep[c] / 2)
        x, y = (curves.centre[c] + curves.radius[c] * np.array([np.cos(middle), np.sin(middle)])).tolist()
        turn = float(np.degrees(curves.sweep[c]))
        found.append(Corner(float(curves.radius[c]), turn, (x, y), (int(curves.entity[c]),), contour))
    return found


def too_fine(curves: Curves, contour: Contour, kinds: dict[int, str]) -> FineContour | None:
    """Return how much finer than needed a contour is drawn; None for one with few points.

    `kinds`: kind of each entity. Points that the reader made of curves are not counted.
    """
    if len(contour.ring) < MANY_POINTS:
        return None
    drawn_straight = curves.kind[contour.curves] != ARC
    entity = curves.entity[contour.curves]
    names, seat = np.unique(entity, return_inverse=True)
    by_hand = np.array([kinds.get(int(x), "") not in _FLATTENED for x in names])[seat]
    drawn = int((drawn_straight & (by_hand | (curves.kind[contour.curves] == LINE))).sum())
    if drawn < MANY_POINTS:
        return None
    return FineContour(drawn, _needed(contour.points), contour.number, contour.where)


def _needed(points: Floats) -> int:
    import shapely

    ring = shapely.LineString(np.vstack([points, points[:1]]))
    return max(3, len(shapely.get_coordinates(shapely.simplify(ring, NEEDED_WITHIN_MM, preserve_topology=False))) - 1)
