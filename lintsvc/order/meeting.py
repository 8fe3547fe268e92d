"""Holes that come together with screws: which meet, how far off, and whether the screws pass after all tolerances.

Openings that lie in one plane and face one way are a pattern. Two parts touch where the outward sides of two
patterns face each other, so one is seen mirrored in the other; a hole through a sheet opens to both sides, which
gives both ways of turning it over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.order.fasteners import diameter_mm
from lintsvc.order.frames import Floats, frame_on, inverse
from lintsvc.order.patterns import match_patterns
from lintsvc.order.relations import HolesMeet, Screw, Side
from lintsvc.order.shape import Holes, Ints, Shape
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import Thing

#: Drawn patterns that belong together agree within the first; wider ones are tried to say how far off the holes are.
_TOLERANCES_MM = (0.3, 1.0, 3.0)
#: Openings in one plane agree within this, and their directions within this.
_PLANE_MM, _WAY = 0.1, 1e-3
#: A diameter that the order names is meant within this.
_SAME_DIAMETER_MM = 0.06
#: Without a named diameter, holes this wide as a share of the screw are taken for its clearance holes, or its thread's.
_CLEARANCE, _TAPPED = (0.9, 1.7), (0.6, 1.02)
#: So many ways to put two parts together are kept.
_MOST_WAYS = 24


@dataclass(frozen=True, eq=False)
class Way:
    """One way in which two patterns come together. `place` takes the frame of b to that of a.

    `a`, `b`: numbers of the openings that meet, side by side; `off_mm` (n,) how far apart their middles are.
    """

    place: Floats
    a: Ints
    b: Ints
    off_mm: Floats


@dataclass(frozen=True, eq=False)
class Meets:
    """What came of a relation: the ways in which the holes meet, best first, and how many had to.

    `why`: the reason where it could not be found out; there are no ways then.
    """

    number: int
    relation: HolesMeet
    screw_mm: float
    wanted: int
    ways: tuple[Way, ...]
    why: str = ""
    #: The relation this is part of, for a thing that the screws go through in between.
    of: int | None = None

    @property
    def count(self) -> int:
        """How many holes meet in the best way."""
        return len(self.ways[0].a) if self.ways else 0

    @property
    def pair(self) -> tuple[str, str]:
        """Ids of the two sides."""
        return self.relation.a.of, self.relation.b.of


def all_meets(order: CheckedOrder) -> tuple[Meets, ...]:
    """Return how the holes of every relation meet, and after them those of the things between its two sides."""
    relations = [(i, x) for i, x in enumerate(order.order.relation) if isinstance(x, HolesMeet)]
    found = [meets(order, i, x) for i, x in relations]
    number = len(order.order.relation)
    for i, relation in relations:
        for j, id in enumerate(relation.through):
            side = Side(of=id)
            screw = Screw(size=relation.screw.size)
            part = HolesMeet(
                kind="holes-meet",
                a=relation.a,
                b=side,
                screw=screw,
                count=relation.count,
                through=relation.through[:j],
            )
            found.append(replace(meets(order, number, part), of=i))
            number += 1
    return tuple(found)


def meets(order: CheckedOrder, number: int, relation: HolesMeet) -> Meets:
    """Return how the holes of a relation meet."""
    screw = diameter_mm(relation.screw.size)
    a, b = order.things[relation.a.of], order.things[relation.b.of]
    try:
        one = _candidates(a, relation.a, screw, tapped=False)
        other = _candidates(b, relation.b, screw, tapped=relation.screw.into == "thread")
        gap = sum(thickness_of(order.things[x]) for x in relation.through)
    except CannotCheck as why:
        return Meets(number, relation, screw, 0, (), str(why))
    patterns = [(p, q) for p in _patterns(a.shape.holes, one) for q in _patterns(b.shape.holes, other)]
    wanted = relation.count or min(
        max(len(p) for p, _ in patterns),
        max(len(q) for _, q in patterns),
    )
    best: list[Way] = []
    for tolerance in _TOLERANCES_MM:
        found = [w for p, q in patterns for w in _ways(a.shape.holes, b.shape.holes, p, q, tolerance, gap)]
        most = max((len(x.a) for x in found), default=0)
        if most > (len(best[0].a) if best else 0):
            best = [x for x in found if len(x.a) == most]
        if most >= wanted:
            break
    best.sort(key=lambda x: round(float(x.off_mm.max()), 3))
    return Meets(number, relation, screw, wanted, tuple(best[:_MOST_WAYS]))


def thickness_of(thing: Thing) -> float:
    """Return how thick what screws go through is. Raises CannotCheck where that is not known."""
    shape = thing.shape
    if shape.thickness_mm is not None:
        return shape.thickness_mm
    if len(shape.holes):
        return float(np.median(shape.holes.depth_mm))
    raise CannotCheck(f"{thing.id}: it has no holes for screws to go through")


def _candidates(thing: Thing, side: Side, screw_mm: float, *, tapped: bool) -> Ints:
    """Return the openings of a side that are meant. Raises CannotCheck where there are none."""
    shape = thing.shape
    holes = shape.holes
    if not len(holes):
        raise CannotCheck(f"{thing.id}: no round holes were found in it")
    keep = np.ones(len(holes), bool)
    if side.panel_at is not None:
        keep &= holes.panel == _panel_at(shape, side.panel_at, thing.id)
    if side.face is not None:
        upper = holes.upper if shape.kind == "sheet" else holes.normal[:, 2] > 0
        keep &= upper == (side.face == "up")
    if side.diameter is not None:
        sized = keep & (np.abs(holes.diameter_mm - side.diameter) <= _SAME_DIAMETER_MM)
        if not sized.any():
            there = ", ".join(f"{x:.3g}" for x in sorted(set(np.round(holes.diameter_mm[keep], 2).tolist()))[:8])
            raise CannotCheck(f"{thing.id}: it has no holes of {side.diameter:g} mm there; it has {there or 'none'}")
        return np.flatnonzero(sized).astype(np.int32)
    if tapped:
        said = np.array([bool(shape.threads[x]) if x < len(shape.threads) else False for x in holes.hole])
        low, high = _TAPPED
        named = keep & said & (holes.diameter_mm <= high * screw_mm) & (holes.diameter_mm >= low * screw_mm)
        if named.any():
            return np.flatnonzero(named).astype(np.int32)
    else:
        low, high = _CLEARANCE
    sized = keep & (holes.diameter_mm >= low * screw_mm) & (holes.diameter_mm <= high * screw_mm)
    if not sized.any():
        what = "tapped holes" if tapped else "clearance holes"
        raise CannotCheck(f"{thing.id}: it has no {what} for a screw of {screw_mm:g} mm; name their diameter")
    return np.flatnonzero(sized).astype(np.int32)


def _panel_at(shape: Shape, at: Sequence[float], id: str) -> int:
    """Return the panel of the hole nearest to a point of the flat."""
    away = np.hypot(*(shape.holes.flat - np.array(at)).T)
    if not np.isfinite(away).any():
        raise CannotCheck(f"{id}: it is no sheet part, so no panel can be named")
    return int(shape.holes.panel[np.nanargmin(away)])


def _patterns(holes: Holes, chosen: Ints) -> list[Ints]:
    """Return the openings by plane and direction, the largest patterns first."""
    found: list[list[int]] = []
    for i in chosen.tolist():
        for pattern in found:
            first = pattern[0]
            same_way = np.linalg.norm(holes.normal[i] - holes.normal[first]) < _WAY
            if same_way and abs((holes.point[i] - holes.point[first]) @ holes.normal[first]) < _PLANE_MM:
                pattern.append(i)
                break
        else:
            found.append([i])
    return sorted((np.array(x, np.int32) for x in found), key=len, reverse=True)


def _ways(a: Holes, b: Holes, p: Ints, q: Ints, tolerance_mm: float, gap_mm: float) -> list[Way]:
    """Return the ways in which two patterns come together."""
    fa, fb = frame_on(a.normal[p[0]]), frame_on(b.normal[q[0]])
    origin_a, origin_b = a.point[p].mean(axis=0), b.point[q].mean(axis=0)
    flat_a, flat_b = (a.point[p] - origin_a) @ fa[:, :2], (b.point[q] - origin_b) @ fb[:, :2]
    found = []
    if len(p) == 1 or len(q) == 1:
        # One hole: its axis is known, the turn about it is not; quarter turns stand for it.
        for i in range(len(p)):
            for j in range(len(q)):
                for quarter in range(4):
                    c, s = np.cos(quarter * np.pi / 2), np.sin(quarter * np.pi / 2)
                    turn = np.array([[c, s], [s, -c]])
                    shift = flat_b[j] - turn @ flat_a[i]
                    place = _place(fa, fb, origin_a, origin_b, turn, shift, gap_mm)
                    found.append(Way(place, p[[i]], q[[j]], np.zeros(1)))
        return found
    meeting = match_patterns(flat_a, flat_b, tolerance_mm=tolerance_mm, mirrors=(True,), size_pairs_match=False)
    for pose in meeting.poses:
        place = _place(fa, fb, origin_a, origin_b, pose.turn, pose.shift, gap_mm)
        found.append(Way(place, p[pose.a], q[pose.b], pose.off_mm))
    return found


def _place(
    fa: Floats, fb: Floats, origin_a: Floats, origin_b: Floats, turn: Floats, shift: Floats, gap_mm: float
) -> Floats:
    """Return where b stands in the frame of a when the two planes face each other, `gap_mm` apart."""
    rotation = fa[:, :2] @ turn.T @ fb[:, :2].T - np.outer(fa[:, 2], fb[:, 2])
    place = np.eye(4)
    place[:3, :3] = rotation
    place[:3, 3] = origin_a + gap_mm * fa[:, 2] - rotation @ (origin_b + fb[:, :2] @ shift)
    return place


def other_way_round(way: Way) -> Way:
    """Return the way with its sides exchanged: a in the frame of b."""
    return Way(inverse(way.place), way.b, way.a, way.off_mm)
