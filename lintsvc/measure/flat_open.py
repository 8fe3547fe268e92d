"""Lines that do not close, and what they are: a broken contour, a slit, a line across the part, a leftover."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from lintsvc.measure.flat_chains import Gap, nearest_pairs
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import Curves
from lintsvc.measure.flat_weld import Floats, Ints, components
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
#: Cosine of the largest turn after which a line still goes on: 75°.
_AHEAD = 0.26


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
    #: It lies inside an outer contour.
    inside: bool
    gaps: tuple[Gap, ...] = ()

    @property
    def where(self) -> Where:
        """Its place, seen in the middle of its way."""
        return where(self._corners(), self.entities, at=self.middle)

    def where_of(self, gap: Gap, *others: OpenChain) -> Where:
        """The place of one of its gaps. `others`: the lines that it keeps this one from."""
        ends = (gap.start, gap.end)
        entities = sorted({x for line in (self, *others) for x in line.entities})
        return where(ends, entities, lines=[ends], span=ends)

    def _corners(self) -> list[Point2]:
        return [(float(x), float(y)) for x, y in (self.points.min(axis=0), self.points.max(axis=0))]


Lines = list[tuple[Floats, Ints]]


def open_chains_of(curves: Curves, loose: Lines, across: Lines, contours: tuple[Contour, ...]) -> tuple[OpenChain, ...]:
    """Return the open lines, longest first. `loose` and `across` are (points, curves)."""
    lines = loose + across
    if not lines:
        return ()
    length, spots = _measured([points for points, _ in lines])
    outers = [x for x in contours if x.role == "outer"]
    inside, on_edge, copies = _inside(spots[: len(loose)], contours, 2 * curves.same_mm + curves.chord_mm)
    longest = max((x.length_mm for x in outers), default=0.0)
    gaps = _gaps(loose, spots, length, inside, curves.same_mm)
    chains = []
    for k, (points, which) in enumerate(lines):
        kind: OpenKind
        if k < len(loose) and copies[k]:
            continue
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
        within = k >= len(loose) or inside[k]
        chains.append(OpenChain(kind, points, entities, float(length[k]), (x, y), within, tuple(gaps.get(k, ()))))
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


def _gaps(loose: Lines, spots: Floats, length: Floats, inside: list[bool], same_mm: float) -> dict[int, list[Gap]]:
    """Return the gaps at the ends of each line, where the ends that are nearest each other were meant to meet."""
    gaps: dict[int, list[Gap]] = {}
    ends = spots[: len(loose), [0, 2]].reshape(-1, 2)
    for a, b in nearest_pairs(ends, np.inf) if len(ends) else ():
        one, other = a // 2, b // 2
        (ax, ay), (bx, by) = ends[a].tolist(), ends[b].tolist()
        width = math.hypot(ax - bx, ay - by)
        shorter, both_inside = float(min(length[one], length[other])), inside[one] and inside[other]
        # Ends in one place hang on others there: no gap.
        if width <= same_mm or not (one == other or _goes_on(loose, a, b)):
            continue
        if _meant_to_meet(width, one == other, shorter, both_inside):
            gap = Gap((ax, ay), (bx, by), width, (int(loose[one][1][0]), int(loose[other][1][0])))
            for side in {one, other}:
                gaps.setdefault(side, []).append(gap)
    return gaps


def _goes_on(loose: Lines, a: int, b: int) -> bool:
    """True where the way from one end to the other goes on in the direction of at least one of the lines.

    Lines side by side, as in a table or a hinge of slits, do not belong together for that. `a`, `b`: end 2 n + s
    of line n.
    """
    (p, before_p), (q, before_q) = _end_of(loose, a), _end_of(loose, b)
    gap = q - p
    wide = float(np.hypot(*gap))
    for way, out in ((gap, p - before_p), (-gap, q - before_q)):
        if float(way @ out) >= _AHEAD * wide * float(np.hypot(*out)):
            return True
    return False


def _end_of(loose: Lines, end: int) -> tuple[Floats, Floats]:
    points = loose[end // 2][0]
    return (points[-1], points[-2]) if end % 2 else (points[0], points[1])


def _meant_to_meet(width: float, own: bool, length: float, inside: bool) -> bool:
    if inside:
        return width <= (_NEARLY_CLOSED * length if own else min(_MEANT_TO_MEET_MM, _NEARLY_CLOSED * length))
    return width <= length / 2


def _inside(spots: Floats, contours: tuple[Contour, ...], near_mm: float) -> tuple[list[bool], list[bool], list[bool]]:
    """Return for each line whether it lies in a part, whether its ends lie on contours, and whether all of it does.

    `spots` (n, 3, 2): start, middle and end of each line.
    """
    import shapely

    nothing = [False] * len(spots)
    if not contours or not len(spots):
        return nothing, nothing, nothing
    flat = spots.reshape(-1, 2)
    points = np.asarray(shapely.points(flat))
    within, touching = np.zeros(len(flat), bool), np.zeros(len(flat), bool)
    tree = shapely.STRtree(points)
    for polygon in (shapely.make_valid(x.polygon) for x in contours if x.role == "outer"):
        some = tree.query(polygon)
        shapely.prepare(polygon)
        within[some] |= shapely.contains_xy(polygon, flat[some, 0], flat[some, 1])
    sides = [np.stack([x.points, np.roll(x.points, -1, axis=0)], axis=1) for x in contours]
    border = shapely.STRtree(np.asarray(shapely.linestrings(np.concatenate(sides))))
    touching[border.query(points, predicate="dwithin", distance=near_mm)[0]] = True
    inner, on = (within | touching).reshape(-1, 3), touching.reshape(-1, 3)
    # A line that runs along a contour is drawn twice, which is said elsewhere.
    flags = np.column_stack([inner.all(axis=1) & ~on[:, 1], on[:, 0] & on[:, 2], on.all(axis=1)])
    return flags[:, 0].tolist(), flags[:, 1].tolist(), flags[:, 2].tolist()


def around_something(chains: tuple[OpenChain, ...], outers: tuple[Contour, ...]) -> bool:
    """True when broken contours outside all parts would, if they closed, lie around one of them."""
    import shapely

    broken = [x for x in chains if x.kind == "broken" and not x.inside]
    if not broken or not outers:
        return False
    # Chains that share a gap belong to one contour.
    by_gap: dict[Gap, list[int]] = {}
    for k, x in enumerate(broken):
        for gap in x.gaps:
            by_gap.setdefault(gap, []).append(k)
    pairs = [x for x in by_gap.values() if len(x) == 2]
    group, count = components(len(broken), np.array(pairs, np.int64).reshape(-1, 2))
    spots = np.array([x.points[0] for x in outers])
    for g in range(count):
        points = np.concatenate([broken[k].points for k in np.flatnonzero(group == g)])
        hull = shapely.convex_hull(shapely.MultiPoint(points))
        if hull.area > 0 and shapely.contains_xy(hull, spots[:, 0], spots[:, 1]).any():
            return True
    return False
