"""Parts that are joined round a loop: what every joint gives has to cover what every part in the loop is off.

Two parts whose places follow from other parts, and that are screwed to each other as well, close a loop. Their screws
pass where the errors all round it, each part's holes and each bend between them, are no more than all its joints have
to give together. Nothing hangs on which joint is looked at last. In each direction of the closing joint's plane the
errors are summed (the support of a sum of sets is the sum of their supports), and what a joint gives is its play, as a
shift or as a turn about its middle, which reaches farther the farther away the closing joint is.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.order.frames import Floats, frame_on, inverse, moved, turned
from lintsvc.order.meeting import Meets
from lintsvc.order.play import bend_move
from lintsvc.order.shape import Ints
from lintsvc.order.tolerances import size_tolerance

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: Directions of the plane that are looked at, over half a turn.
_DIRECTIONS = 36
#: A joint of one screw turns freely; its lever counts as this.
_LEAST_LEVER_MM = 0.01


@dataclass(frozen=True, eq=False)
class Loop:
    """A loop that a relation closes. `by`: the ids on the other way round, from one side to the other, both left out.

    All in the direction and at the screw in which least is left, mm: `room_mm` is what all joints give on the mean,
    `own_mm` what the closing joint's own holes take at worst, `round_mm` what comes in by the other way.
    """

    number: int
    by: tuple[str, ...]
    room_mm: float
    own_mm: float
    round_mm: float
    worst_mm: float
    rss_mm: float
    chance: float
    bends: int
    #: The part of the other way, or of the two sides, that takes most, and how much.
    most: str
    most_mm: float


@dataclass(frozen=True, eq=False)
class _Joint:
    """One joint on the way: openings on both sides, and its play. In the frame of the assembly."""

    meets: Meets
    middle: Floats
    normal: Floats
    lever_mm: float
    mean_mm: float
    worst_mm: float
    spread_mm: float

    def reach(self, ways: Floats, points: Floats) -> Floats:
        """Return how much of the joint's play arrives at points (n, 3) in directions (d, 3): (n, d)."""
        flat = ways - np.outer(ways @ self.normal, self.normal)
        shift = np.broadcast_to(np.linalg.norm(flat, axis=1), (len(points), len(ways)))
        swing = np.abs(np.cross(self.normal, points - self.middle) @ ways.T) / self.lever_mm
        return np.asarray(np.maximum(shift, swing))

    def side(self, order: CheckedOrder, id: str) -> Ints:
        """Return the openings on one side."""
        way = order.way(self.meets)
        return way.a if self.meets.pair[0] == id else way.b


def all_loops(order: CheckedOrder) -> dict[int, Loop]:
    """Return the loops that relations by screws close, by the relation's number."""
    found = {}
    for meets in order.meetings:
        if meets.of is None and meets.number in order.placing.loops:
            loop = _loop(order, meets)
            if loop is not None:
                found[meets.number] = loop
    return found


def _loop(order: CheckedOrder, closing: Meets) -> Loop | None:
    way_round = _way_round(order, *closing.pair)
    if way_round is None or order.gives_way(x for meets, _, _ in way_round for x in meets.pair):
        return None
    last = _joint(order, closing)
    joints = [_joint(order, meets) for meets, _, _ in way_round]
    a, b = closing.pair
    here, there = order.placing.of(a), order.placing.of(b)
    assert here is not None  # it closes a loop, so both stand
    assert there is not None
    way = order.way(closing)
    points = moved(here.place, order.things[a].shape.holes.point[way.a])
    others = moved(there.place, order.things[b].shape.holes.point[way.b])
    turn = np.arange(_DIRECTIONS) * math.pi / _DIRECTIONS
    ways = np.column_stack([np.cos(turn), np.sin(turn)]) @ frame_on(last.normal)[:, :2].T
    # What single holes are off within their pattern is in the joint's own play.
    off = np.abs((others - points).mean(axis=0) @ ways.T)[None, :]
    # Each part on the way round, from the closing joint's side to the next joint's, on to the closing one again.
    ids = [a, *(to for _, _, to in way_round)]
    ends = [last, *joints, last]
    errors: list[tuple[str, Floats]] = []
    bends = 0
    for i, id in enumerate(ids):
        into, out = ends[i].side(order, id), ends[i + 1].side(order, id)
        moves, extra = _between(order, id, into, out, points)
        errors += [(id, np.abs(x @ ways.T)) for x in moves]
        errors.append((id, np.full((len(points), len(ways)), extra)))
        bends += len(moves) // 2
    reach = [x.reach(ways, points) for x in joints]
    taken = sum((x for _, x in errors), np.zeros((len(points), len(ways)))) + off
    left = last.worst_mm + sum((j.worst_mm * r for j, r in zip(joints, reach, strict=True)), np.zeros_like(taken))
    left = left - taken
    room = last.mean_mm + sum((j.mean_mm * r for j, r in zip(joints, reach, strict=True)), np.zeros_like(taken))
    square = last.spread_mm**2 + sum((x**2 for _, x in errors), np.zeros_like(taken))
    square = square + sum(((j.spread_mm * r) ** 2 for j, r in zip(joints, reach, strict=True)), np.zeros_like(taken))
    spread = np.sqrt(square)
    # Three sigma at the tolerance, as everywhere.
    sure = np.vectorize(math.erf)(np.maximum(room - off, 0.0) / np.maximum(spread / 3, 1e-9) / math.sqrt(2))
    spot = np.unravel_index(int(left.argmin()), left.shape)
    by_part: dict[str, float] = {}
    for id, error in errors:
        by_part[id] = by_part.get(id, 0.0) + float(error[spot])
    most = max(by_part, key=lambda x: by_part[x])
    lost = sum((max(0.0, j.mean_mm - j.worst_mm) * float(r[spot]) for j, r in zip(joints, reach, strict=True)), 0.0)
    return Loop(
        closing.number,
        tuple(ids[1:-1]),
        float(room[spot]),
        last.mean_mm - last.worst_mm,
        float(taken[spot]) + lost,
        float(left.min()),
        float((room - off - spread).min()),
        1.0 if left.min() >= 0 else float(sure.min()),
        bends,
        most,
        by_part[most],
    )


def _way_round(order: CheckedOrder, a: str, b: str) -> list[tuple[Meets, str, str]] | None:
    """Return the joints by which the places of two things follow from each other; None where not by screws alone."""
    loops = order.placing.loops
    joints = [x for x in order.meetings if x.of is None and x.number in order.placing.ways and x.number not in loops]
    came: dict[str, tuple[Meets, str, str]] = {}
    seen, ahead = {a}, deque([a])
    while ahead:
        at = ahead.popleft()
        for meets in joints:
            if at not in meets.pair:
                continue
            to = meets.pair[1] if meets.pair[0] == at else meets.pair[0]
            if to not in seen:
                seen.add(to)
                came[to] = (meets, at, to)
                ahead.append(to)
    if b not in came:
        return None
    found = []
    while b != a:
        found.append(came[b])
        b = came[b][1]
    return found[::-1]


def _joint(order: CheckedOrder, meets: Meets) -> _Joint:
    id, way, play = meets.pair[0], order.way(meets), order.play(meets)
    stands = order.placing.of(id)
    assert stands is not None  # it joins what stands
    holes = order.things[id].shape.holes
    points = moved(stands.place, holes.point[way.a])
    middle = points.mean(axis=0)
    lever = float(np.linalg.norm(points - middle, axis=1).max())
    return _Joint(
        meets,
        middle,
        turned(stands.place, holes.normal[way.a[:1]])[0],
        max(lever, _LEAST_LEVER_MM),
        play.mean_mm,
        play.worst_mm,
        max(0.0, play.mean_mm - play.rss_mm),
    )


def _between(order: CheckedOrder, id: str, into: Ints, out: Ints, points: Floats) -> tuple[list[Floats], float]:
    """Return how points beyond move by each bend between two patterns of a thing, and what its pitch is off beside.

    What the patterns' own zones hold of that pitch is counted at their joints.
    """
    thing, stands = order.things[id], order.placing.of(id)
    assert stands is not None
    holes, shape = thing.shape.holes, thing.shape
    apart = float(np.linalg.norm(holes.point[into].mean(axis=0) - holes.point[out].mean(axis=0)))
    own = sum(size_tolerance(thing, _span(holes.point[x])).value / 2 for x in (into, out))
    extra = max(0.0, size_tolerance(thing, apart).value - own)
    panels = [_most(holes.panel[x]) for x in (into, out)]
    if min(panels) < 0:
        return [], extra
    moves = []
    for bend in sorted(set(shape.panel_bends[panels[0]]) ^ set(shape.panel_bends[panels[1]])):
        back = inverse(stands.place)
        moves += [turned(stands.place, x) for x in bend_move(thing, bend, moved(back, points), holes.normal[out[:1]])]
    return moves, extra


def _span(points: Floats) -> float:
    return float(np.linalg.norm(points - points.mean(axis=0), axis=1).max()) * 2


def _most(panels: Ints) -> int:
    known = panels[panels >= 0]
    return int(np.bincount(known).argmax()) if len(known) else -1
