"""What is wrong with the lines themselves: drawn twice, crossing, branching, stray, joined over a gap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_crossings import CROSS, OVERLAP, shared_turn
from lintsvc.measure.flat_curves import ARC, CIRCLE, Curves
from lintsvc.measure.flat_drawing import Drawing
from lintsvc.measure.flat_segments import distance_to_segments
from lintsvc.measure.flat_weld import Floats
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where
from lintsvc.model.sheet import Entity, Point2

#: Contours that lie over each other by no more than this touch: what rounding of a file's coordinates and the
#: chords of arcs make, and a fifth of the thinnest kerf.
TOUCH_MM = 0.02


@dataclass(frozen=True, slots=True)
class Duplicate:
    """Lines drawn more than once: `copies` superfluous ones over `length_mm`, all on one contour or chain."""

    copies: int
    length_mm: float
    entities: tuple[int, ...]
    where: Where
    #: False for a line that runs along a part of another, or along itself.
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Crossing:
    """A contour that crosses or touches itself, or (`branch`) lines of which more than two meet at a point.

    `loop_mm`: length of the longest loop that a crossing cuts off, by the shorter way around.
    """

    places: int
    crosses: bool
    branch: bool
    loop_mm: float
    entities: tuple[int, ...]
    where: Where


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two contours that cross: `contours` by number, `area_mm2` that they share."""

    contours: tuple[int, int]
    area_mm2: float
    #: One is a cutout that breaks through the contour around it.
    through_edge: bool
    entities: tuple[int, ...]
    where: Where


@dataclass(frozen=True, slots=True)
class Touch:
    """Two contours that meet without crossing by more than TOUCH_MM: nothing stands between them at `at`."""

    contours: tuple[int, int]
    at: Point2
    entities: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class JoinedGap:
    """Ends of lines of one contour that do not meet and were joined."""

    width_mm: float
    contour: int | None
    entities: tuple[int, ...]
    where: Where


@dataclass(frozen=True, slots=True)
class Stray:
    """A thing that can be no contour: a line without length, a leftover line outside the part.

    `what` and `many` name one and several.
    """

    what: str
    many: str
    length_mm: float
    entities: tuple[int, ...]
    where: Where


def contour_of_curves(contours: tuple[Contour, ...]) -> dict[int, int]:
    """Return the contour that each curve belongs to."""
    if not contours:
        return {}
    numbers = np.repeat([x.number for x in contours], [len(x.curves) for x in contours])
    return dict(zip(np.concatenate([x.curves for x in contours]).tolist(), numbers.tolist(), strict=True))


def duplicates_of(drawing: Drawing) -> list[Duplicate]:
    """Return lines drawn twice, one entry for each contour or lone chain they lie on."""
    curves, found = drawing.curves, []
    owner = contour_of_curves(drawing.contours) if drawing.copies else {}
    by_contour: dict[int, list[tuple[int, int]]] = {}
    for kept, copy in drawing.copies:
        by_contour.setdefault(owner.get(kept, -1 - kept), []).append((kept, copy))
    for pairs in by_contour.values():
        entities = curves.entity[[c for pair in pairs for c in pair]].tolist()
        copies = [curves.points_of(copy) for _, copy in pairs]
        # A hair more than nothing, for copies without length.
        lengths = [_length(curves, copy) + 1e-9 for _, copy in pairs]
        # The middle of all copies, however they are ordered.
        x, y = np.average([_middle(p) for p in copies], axis=0, weights=lengths).tolist()
        low_high = _points(np.array([np.concatenate(copies).min(axis=0), np.concatenate(copies).max(axis=0)]))
        found.append(
            Duplicate(len(pairs), sum(lengths), tuple(sorted(set(entities))), where(low_high, entities, at=(x, y)))
        )
    for loop in drawing.same_loops:
        entities = sorted({*loop.kept, *loop.dropped})
        found.append(Duplicate(1, loop.length_mm, tuple(entities), where([loop.point], entities)))
    meetings = drawing.meetings
    repeated = [{*x.kept, *x.dropped} for x in drawing.same_loops]
    by_pair: dict[tuple[int, ...], list[int]] = {}
    # Where the lines cannot be sorted out, all that they lie on would be listed without end.
    for k in np.flatnonzero(meetings.kind == OVERLAP).tolist() if not drawing.trouble else ():
        by_pair.setdefault(tuple(meetings.curves[k].tolist()), []).append(k)
    for pair, hits in by_pair.items():
        entities = np.unique(curves.entity[list(pair)]).tolist()
        if any(x.issuperset(entities) for x in repeated):
            continue
        lines = [((a[0], a[1]), (b[0], b[1])) for a, b in meetings.ends[hits].tolist()]
        length = sum(math.dist(a, b) for a, b in lines)
        if (curves.kind[list(pair)] == ARC).all() and pair[0] != pair[1]:
            length = float(curves.radius[pair[0]]) * shared_turn(curves, *pair)
        found.append(Duplicate(1, length, tuple(entities), where((), entities, lines=lines), False))
    return found


def crossings_of(drawing: Drawing) -> list[Crossing]:
    """Return contours that cross or touch themselves, and the places where lines branch."""
    curves, meetings = drawing.curves, drawing.meetings
    owner = contour_of_curves(drawing.contours) if len(meetings) else {}
    by_contour: dict[int, list[int]] = {}
    for k in np.flatnonzero(meetings.kind != OVERLAP).tolist():
        one, other = (owner.get(c) for c in meetings.curves[k].tolist())
        if one is not None and one == other:
            by_contour.setdefault(one, []).append(k)
    found = []
    for number, hits in by_contour.items():
        spots = _points(meetings.place[hits])
        entities = np.unique(curves.entity[meetings.curves[hits].ravel()]).tolist()
        crosses = bool((meetings.kind[hits] == CROSS).any())
        at = where(spots, entities, at=_outermost(spots), lines=[(x, x) for x in spots])
        loop = max(_loop(drawing.contours[number].points, x, 2 * curves.same_mm + curves.chord_mm) for x in spots)
        found.append(Crossing(len(spots), crosses, False, loop, tuple(entities), at))
    if drawing.branches:
        entities = np.unique(curves.entity[drawing.tangled]).tolist()
        spots = list(drawing.branches)
        at = where(spots, entities, at=_outermost(spots), lines=[(x, x) for x in spots])
        found.append(Crossing(len(drawing.branches), False, True, 0.0, tuple(entities), at))
    return found


def _outermost(spots: list[Point2]) -> Point2:
    """Return the point furthest from the middle of all, which a turned or reordered copy chooses too."""
    middle = (sum(x for x, _ in spots) / len(spots), sum(y for _, y in spots) / len(spots))
    return max(spots, key=lambda spot: round(math.dist(spot, middle), 3))


def _loop(points: Floats, spot: Point2, near_mm: float) -> float:
    """Return the way around a contour from a point to where the contour comes by there again, by the shorter way."""
    after = np.roll(points, -1, axis=0)
    long = np.hypot(*(after - points).T)
    off, share = distance_to_segments(np.tile(spot, (len(points), 1)), points, after)
    way = np.sort((np.cumsum(long) - long + share * long)[off <= near_mm])
    if len(way) < 2:
        return 0.0
    apart = way - way[0]
    return float(np.minimum(apart, long.sum() - apart).max())


def overlaps_of(drawing: Drawing) -> list[Overlap]:
    """Return pairs of contours that cross each other, by more than TOUCH_MM: touching is no crossing."""
    import shapely

    meetings = drawing.meetings
    found = []
    for (one, other), hits in _meeting_pairs(drawing).items():
        a, b = drawing.contours[one], drawing.contours[other]
        p, q = shapely.make_valid(a.polygon), shapely.make_valid(b.polygon)
        common = shapely.intersection(p, q)
        shared = float(common.area)
        if a.circle is not None and b.circle is not None:
            shared = _lens(a.circle, b.circle)
            crosses = _deep_lens(a.circle, b.circle)
        else:
            crosses = all(_is_deep(x) for x in (common, shapely.difference(p, q), shapely.difference(q, p)))
        if not crosses:
            continue
        spots = _points(meetings.place[hits])
        entities = sorted({*a.entities, *b.entities})
        through = a.role != "cutout" and b.role == "cutout"
        x, y = common.centroid.coords[0] if shared > 0 else spots[0]
        at = where([*_points(a.points), *_points(b.points)] if not through else spots, entities, at=(x, y))
        found.append(Overlap((one, other), shared, through, tuple(entities), at))
    return found


def touches_of(drawing: Drawing, overlaps: Sequence[Overlap]) -> list[Touch]:
    """Return pairs of contours that meet and are no overlap."""
    crossing = {x.contours for x in overlaps}
    found = []
    for pair, hits in _meeting_pairs(drawing).items():
        if pair not in crossing:
            x, y = drawing.meetings.place[hits].mean(axis=0).tolist()
            entities = {e for c in pair for e in drawing.contours[c].entities}
            found.append(Touch(pair, (x, y), tuple(sorted(entities))))
    return found


def _meeting_pairs(drawing: Drawing) -> dict[tuple[int, int], list[int]]:
    """Return the meetings of each two different contours, the lower number first."""
    meetings = drawing.meetings
    owner = contour_of_curves(drawing.contours) if len(meetings) else {}
    pairs: dict[tuple[int, int], list[int]] = {}
    for k in range(len(meetings)):
        one, other = (owner.get(c) for c in meetings.curves[k].tolist())
        if one is not None and other is not None and one != other:
            pairs.setdefault((min(one, other), max(one, other)), []).append(k)
    return pairs


def _is_deep(region: Any) -> bool:
    """True for a region that a circle of TOUCH_MM fits into."""
    # A region without room for such a circle has less area than its edge times the radius.
    if region.area > TOUCH_MM / 2 * region.length:
        return True
    return not region.buffer(-TOUCH_MM / 2).is_empty


def _deep_lens(one: tuple[float, float, float], other: tuple[float, float, float]) -> bool:
    """True for circles (x, y, radius) that cross by more than TOUCH_MM, from outside and from inside."""
    far, r, q = math.dist(one[:2], other[:2]), one[2], other[2]
    return r + q - far > TOUCH_MM and far - abs(r - q) > TOUCH_MM


def _lens(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """Return the area that two circles (x, y, radius) that cross share."""
    far, r, q = math.dist(one[:2], other[:2]), one[2], other[2]
    area = 0.0
    for near, wide in ((r, q), (q, r)):
        # How far from its middle the common chord lies, as a share of the radius; then the cap beyond it.
        share = min(1.0, max(-1.0, (far * far + near * near - wide * wide) / (2 * far * near)))
        area += near * near * (math.acos(share) - share * math.sqrt(1 - share * share))
    return area


def gaps_of(drawing: Drawing) -> list[JoinedGap]:
    """Return the gaps that were joined, and ends that differ by a hair."""
    curves = drawing.curves
    owner = contour_of_curves(drawing.contours) if drawing.gaps else {}
    return [
        JoinedGap(
            gap.width_mm,
            owner.get(gap.curves[0]),
            tuple(sorted({int(curves.entity[c]) for c in gap.curves})),
            where([gap.start, gap.end], curves.entity[list(gap.curves)].tolist(), span=(gap.start, gap.end)),
        )
        for gap in drawing.gaps
    ]


def strays_of(drawing: Drawing, entities: tuple[Entity, ...]) -> list[Stray]:
    """Return what can be no contour: specks, broken coordinates, leftover lines, points that are meant to be cut."""
    curves = drawing.curves
    found = []
    for c in drawing.specks.tolist():
        number = int(curves.entity[c])
        spot = _points(curves.points_of(c))[0]
        kind = entities[number].kind
        names = f"{kind} without length", f"{kind}s without length"
        found.append(Stray(*names, 0.0, (number,), where([spot], [number])))
    for chain in drawing.open_chains:
        if chain.kind == "leftover":
            at = where(_points(chain.points), chain.entities)
            names = "line outside the part", "lines outside the part"
            found.append(Stray(*names, chain.length_mm, chain.entities, at))
    return found


def _points(rows: Floats) -> list[Point2]:
    return [(float(x), float(y)) for x, y in rows.tolist()]


def _middle(points: Floats) -> Floats:
    """Return the middle between the ends, of a closed curve the middle of its points."""
    ends = points[[0, -1]]
    apart = float(np.hypot(*(ends[1] - ends[0])))
    step = float(np.hypot(*(points[1] - points[0])))
    middle: Floats = points.mean(axis=0) if len(points) > 3 and apart <= 1.001 * step else ends.mean(axis=0)
    return middle


def _length(curves: Curves, curve: int) -> float:
    if curves.kind[curve] == CIRCLE:
        return float(2 * np.pi * curves.radius[curve])
    return float(np.hypot(*np.diff(curves.points_of(curve), axis=0).T).sum())
