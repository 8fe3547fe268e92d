"""Lines that do not close, and what they are: a broken contour, a slit, a line across the part, a leftover."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from lintsvc.measure.flat_chains import Gap, nearest_pairs
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import Curves
from lintsvc.measure.flat_weld import Floats, Ints
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where
from lintsvc.model.sheet import Point2

OpenKind = Literal["broken", "slit", "across", "leftover"]

#: A line outside all parts that is shorter than this share of the longest contour is a leftover
#: (the project's own judgement).
LEFTOVER_SHARE = 0.05
#: Inside a part, ends this near for the line's length mean a contour that should close; others mean a slit.
_NEARLY_CLOSED = 0.1
#: Ends of two lines inside a part that are this near were meant to meet; slits lie further apart.
_MEANT_TO_MEET_MM = 0.5


@dataclass(frozen=True, eq=False)
class OpenChain:
    """A line with two ends. `gaps`: from its ends to the nearest other loose ends, where those belong together.

    `kind`: `broken`, part of a contour that does not close; `slit`, ends inside a part; `across`, runs
    inside a part from contour to contour; `leftover`, short and outside every part.
    """

    kind: OpenKind
    points: Floats = field(repr=False)
    entities: tuple[int, ...]
    length_mm: float
    #: Halfway along it.
    middle: Point2
    gaps: tuple[Gap, ...] = ()

    @property
    def where(self) -> Where:
        """Its place: seen at its first gap, else in the middle of its way."""
        spots = [(float(x), float(y)) for x, y in (self.points.min(axis=0), self.points.max(axis=0))]
        gap = self.gaps[0] if self.gaps else None
        at = self.middle if gap is None else _between(gap.start, gap.end)
        ends = [(x.start, x.end) for x in self.gaps]
        return where(spots, self.entities, at=at, lines=ends, span=ends[0] if ends else None)


def _between(a: Point2, b: Point2) -> Point2:
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2


Lines = list[tuple[Floats, Ints]]


def open_chains_of(
    curves: Curves, loose: Lines, across: Lines, contours: tuple[Contour, ...]
) -> tuple[OpenChain, ...]:
    """Return the open lines, longest first. `loose` and `across` are (points, curves)."""
    lines = loose + across
    if not lines:
        return ()
    length, spots = _measured([points for points, _ in lines])
    outers = [x for x in contours if x.role == "outer"]
    inside, on_edge = _inside(spots[: len(loose)], outers, 2 * curves.same_mm)
    longest = max((x.length_mm for x in outers), default=0.0)
    gaps = _gaps(loose, spots, length, inside, curves.same_mm)
    chains = []
    for k, (points, which) in enumerate(lines):
        kind: OpenKind
        if k >= len(loose):
            kind = "across"
        elif k in gaps:
            kind = "broken"
        elif inside[k]:
            kind = "across" if on_edge[k] else "slit"
        else:
            kind = "leftover" if length[k] < LEFTOVER_SHARE * longest else "broken"
        entities = tuple(sorted(set(curves.entity[which].tolist())))
        x, y = spots[k, 1].tolist()
        chains.append(OpenChain(kind, points, entities, float(length[k]), (x, y), tuple(gaps.get(k, ()))))
    return tuple(sorted(chains, key=lambda x: (-round(x.length_mm, 3), x.entities)))


def _measured(lines: list[Floats]) -> tuple[Floats, Floats]:
    """Return the length of each line (n,), and its start, a point halfway along it, and its end (n, 3, 2)."""
    counts = np.array([len(x) for x in lines])
    points = np.concatenate(lines)
    last = np.cumsum(counts) - 1
    first = last - counts + 1
    step = np.append(np.hypot(*np.diff(points, axis=0).T), 0.0)
    step[last] = 0.0
    run = np.cumsum(step) - step
    length = run[last] - run[first]
    half = run[first] + length / 2
    at = np.clip(np.searchsorted(run, half, side="right") - 1, first, np.maximum(first, last - 1))
    share = np.divide(half - run[at], step[at], out=np.zeros(len(at)), where=step[at] > 0)
    middle = points[at] + share[:, None] * (points[np.minimum(at + 1, last)] - points[at])
    return length, np.stack([points[first], middle, points[last]], axis=1)


def _gaps(
    loose: Lines, spots: Floats, length: Floats, inside: list[bool], same_mm: float
) -> dict[int, list[Gap]]:
    """Return the gaps at the ends of each line, where the ends that are nearest each other were meant to meet."""
    gaps: dict[int, list[Gap]] = {}
    ends = spots[: len(loose), [0, 2]].reshape(-1, 2)
    for a, b in nearest_pairs(ends, np.inf) if len(ends) else ():
        one, other = a // 2, b // 2
        (ax, ay), (bx, by) = ends[a].tolist(), ends[b].tolist()
        width = math.hypot(ax - bx, ay - by)
        # Ends in one place hang on others there: no gap.
        shorter, both_inside = float(min(length[one], length[other])), inside[one] and inside[other]
        if width > same_mm and _meant_to_meet(width, one == other, shorter, both_inside):
            gap = Gap((ax, ay), (bx, by), width, (int(loose[one][1][0]), int(loose[other][1][0])))
            for side in {one, other}:
                gaps.setdefault(side, []).append(gap)
    return gaps


def _meant_to_meet(width: float, own: bool, length: float, inside: bool) -> bool:
    if inside:
        return width <= (_NEARLY_CLOSED * length if own else min(_MEANT_TO_MEET_MM, _NEARLY_CLOSED * length))
    return width <= length / 2


def _inside(spots: Floats, outers: list[Contour], near_mm: float) -> tuple[list[bool], list[bool]]:
    """Return for each line whether it lies in an outer contour, and whether both its ends lie on contours.

    `spots` (n, 3, 2): start, middle and end of each line.
    """
    import shapely

    if not outers or not len(spots):
        return [False] * len(spots), [False] * len(spots)
    flat = spots.reshape(-1, 2)
    points = np.asarray(shapely.points(flat))
    within, touching = np.zeros(len(flat), bool), np.zeros(len(flat), bool)
    polygons = [shapely.make_valid(x.polygon) for x in outers]
    tree = shapely.STRtree(points)
    for polygon in polygons:
        some = tree.query(polygon)
        shapely.prepare(polygon)
        within[some] |= shapely.contains_xy(polygon, flat[some, 0], flat[some, 1])
    sides = [np.stack([x.points, np.roll(x.points, -1, axis=0)], axis=1) for x in outers]
    border = shapely.STRtree(np.asarray(shapely.linestrings(np.concatenate(sides))))
    touching[border.query(points, predicate="dwithin", distance=near_mm)[0]] = True
    inner, on = (within | touching).reshape(-1, 3), touching.reshape(-1, 3)
    # A line that runs along the edge of a part is no slit in it.
    flags = np.column_stack([inner.all(axis=1) & ~on[:, 1], on[:, 0] & on[:, 2]])
    return flags[:, 0].tolist(), flags[:, 1].tolist()
