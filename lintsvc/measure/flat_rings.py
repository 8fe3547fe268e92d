"""Closed rings of points with the curve that each side came from, and their exact area, length and box."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.flat_chains import Runs
from lintsvc.measure.flat_curves import ARC, CIRCLE, Curves
from lintsvc.measure.flat_weld import Floats, Ints


@dataclass(frozen=True, eq=False)
class Rings:
    """Rings one after the other. Ring r has points[offset[r]:offset[r + 1]], the first not repeated.

    `curve` (n,): the curve that the side from a point to the next one came from.
    """

    points: Floats
    curve: Ints
    offset: Ints

    def __len__(self) -> int:
        return len(self.offset) - 1

    def points_of(self, ring: int) -> Floats:
        """Return the (n, 2) points of a ring."""
        return self.points[self.offset[ring] : self.offset[ring + 1]]

    def curves_of(self, ring: int) -> Ints:
        """Return the numbers of the curves a ring is made of."""
        return np.unique(self.curve[self.offset[ring] : self.offset[ring + 1]])

    @property
    def owner(self) -> Ints:
        """(n,) the ring of each point."""
        return np.repeat(np.arange(len(self)), np.diff(self.offset))

    def next_point(self) -> Ints:
        """(n,) the number of the point after each, around its ring."""
        after = np.arange(1, len(self.points) + 1)
        filled = np.diff(self.offset) > 0
        after[self.offset[1:][filled] - 1] = self.offset[:-1][filled]
        return after


def points_of_runs(curves: Curves, runs: Runs) -> tuple[Floats, Ints, Ints]:
    """Return (points, curve of each point, offset) of runs of curves put end to end; meeting ends appear twice."""
    begin, end = curves.offset[runs.curve], curves.offset[runs.curve + 1]
    many = end - begin
    which = np.repeat(np.arange(len(runs.curve)), many)
    nth = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    index = np.where(runs.forward[which], begin[which] + nth, end[which] - 1 - nth)
    offset = np.concatenate([[0], np.cumsum(many)])[runs.offset]
    return curves.points[index], runs.curve[which], offset


def rings_of(curves: Curves, loops: Runs) -> Rings:
    """Return the rings that loops of curves make. Points that fall together are one."""
    points, curve, offset = points_of_runs(curves, loops)
    return without_doubles(Rings(points, curve, offset), curves.same_mm)


def without_doubles(rings: Rings, same_mm: float) -> Rings:
    """Leave out points that fall together with the one after them."""
    if not len(rings.points):
        return rings
    step = np.hypot(*(rings.points[rings.next_point()] - rings.points).T)
    # Of two points that fall together the first goes: the side that starts at the second one stays.
    keep = step > same_mm
    kept_before = np.concatenate([[0], np.cumsum(keep)])
    return Rings(rings.points[keep], rings.curve[keep], kept_before[rings.offset])


def signed_areas(rings: Rings) -> Floats:
    """Return the area inside each ring by its points, positive for counter-clockwise."""
    if not len(rings.points):
        return np.zeros(len(rings))
    owner = rings.owner
    # About each ring's first point: far from the origin the products would lose digits.
    home = rings.points[np.minimum(rings.offset[:-1], len(rings.points) - 1)][owner]
    p, q = rings.points - home, rings.points[rings.next_point()] - home
    return np.bincount(owner, (p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]) / 2, len(rings)).astype(float)


def arc_areas(curves: Curves, rings: Rings) -> Floats:
    """Return what true arcs add to the signed area of each ring over the points on them."""
    side = np.flatnonzero(curves.kind[rings.curve] == ARC)
    if not len(side):
        return np.zeros(len(rings))
    p, q = rings.points[side], rings.points[rings.next_point()[side]]
    arc = rings.curve[side]
    radius, centre = curves.radius[arc], curves.centre[arc]
    u, v = p - centre, q - centre
    angle = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1))
    # Between chord and arc: r² (a − sin a) / 2, to the side that the way around it says.
    # A side that closes a gap belongs to the arc before it but does not lie on its circle.
    on = (np.abs(np.hypot(*u.T) - radius) <= curves.same_mm) & (np.abs(np.hypot(*v.T) - radius) <= curves.same_mm)
    piece = np.where(on, radius**2 * (angle - np.sin(angle)) / 2, 0.0)
    return np.bincount(rings.owner[side], piece, len(rings)).astype(float)


def lengths(rings: Rings) -> Floats:
    """Return the length around each ring by its points."""
    if not len(rings.points):
        return np.zeros(len(rings))
    step = np.hypot(*(rings.points[rings.next_point()] - rings.points).T)
    return np.bincount(rings.owner, step, len(rings)).astype(float)


def box_of_curves(curves: Curves, which: Ints) -> tuple[float, float, float, float] | None:
    """Return the exact box (left, bottom, right, top) around curves, arcs by their true reach; None for none."""
    if not len(which):
        return None
    marked = np.zeros(len(curves), bool)
    marked[which] = True
    owner = np.repeat(np.arange(len(curves)), np.diff(curves.offset))
    spots = [curves.points[marked[owner]]]
    circle = which[curves.kind[which] == CIRCLE]
    arc = which[curves.kind[which] == ARC]
    for quarter in range(4):
        angle = quarter * np.pi / 2
        reach = np.array([np.cos(angle), np.sin(angle)])
        inside = arc[(angle - curves.start[arc]) % (2 * np.pi) <= curves.sweep[arc]]
        spots += [curves.centre[some] + curves.radius[some, None] * reach for some in (circle, inside)]
    everything = np.concatenate(spots)
    (left, bottom), (right, top) = everything.min(axis=0), everything.max(axis=0)
    return float(left), float(bottom), float(right), float(top)
