"""Where parts and things stand in the assembly: by [[place]], else by a chain of relations from what stands already.

Of the ways in which a pattern of holes comes together, the one is taken by holes that have no screws in them yet, in
which the part runs into nothing that stands and its other holes come nearest to where they belong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.order.faces import place_by_faces, two_of
from lintsvc.order.frames import Floats, inverse, moved, place_of
from lintsvc.order.meeting import Meets, Way, other_way_round
from lintsvc.order.relations import Apart, FacesMeet, HolesMeet
from lintsvc.order.solids import Standing, overlap
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: An overlap this deep rules a way out; ways with less are as good as each other.
_CLASH_MM = 0.3
#: So many ways are looked at for one part.
_MOST_LOOKED = 12


@dataclass(frozen=True, eq=False)
class Placed:
    """One thing in its place: 4 × 4, from its frame to the assembly's. `why` says what put it there."""

    id: str
    place: Floats
    why: str


@dataclass(frozen=True, eq=False)
class Placing:
    """All that stands, and for what does not, why. `ways`: the way in which each holes-meet relation came together.

    `loops`: relations between things that stood already, with how far their holes are apart then (mm).
    """

    placed: tuple[Placed, ...]
    missing: dict[str, str]
    ways: dict[int, Way]
    loops: dict[int, float]
    #: Relations that would also come together in so many other ways, as far as could be seen.
    also: dict[int, int]

    def of(self, id: str) -> Placed | None:
        """Return where a thing stands, the first of several."""
        return next((x for x in self.placed if x.id == id), None)


def place_all(order: CheckedOrder) -> Placing:
    """Return where everything stands."""
    return _Placer(order).run()


class _Placer:
    def __init__(self, order: CheckedOrder) -> None:
        self.order = order
        self.meets = {x.number: x for x in order.meetings}
        self.held = {x.number: x for x in order.held}
        self.places: dict[str, list[Placed]] = {}
        self.standing: list[Standing] = []
        self.ways: dict[int, Way] = {}
        self.loops: dict[int, float] = {}
        self.also: dict[int, int] = {}
        self.why: dict[str, str] = {}

    def run(self) -> Placing:
        order = self.order
        for place in order.order.place:
            self._put(Placed(place.of, place_of(place.at, place.turn_deg), "by [[place]]"))
        if not self.places:
            first = next((x for x in self._linked()), None)
            if first is not None:
                self._put(Placed(first, np.eye(4), "the assembly's frame is its own"))
        while self._step():
            pass
        for number, relation in self.meets.items():
            if number not in self.ways:
                self._loop(number, relation)
        missing = {x: self.why.get(x) or self._unplaced(x) for x in order.things if x not in self.places}
        every = tuple(x for id in order.things for x in self.places.get(id, ()))
        return Placing(every, missing, self.ways, self.loops, self.also)

    def _unplaced(self, id: str) -> str:
        """Say why nothing placed a thing."""
        pairs = [x.pair for x in self.meets.values()]
        pairs += [two_of(x) for x in self.order.order.relation if not isinstance(x, Apart)]
        others = [b if a == id else a for a, b in pairs if id in (a, b)]
        others = [x for x in dict.fromkeys(others) if x not in self.places]
        if others:
            return f"what it is joined to is not placed: {', '.join(others)}"
        return "no relation and no [[place]] says where it stands"

    def _linked(self) -> Iterator[str]:
        """Yield ids that relations place others by, parts first named."""
        for relation in self.order.order.relation:
            if isinstance(relation, HolesMeet):
                # The part that holds the thread is what others are screwed to.
                yield relation.b.of if relation.screw.into == "thread" else relation.a.of
            elif not isinstance(relation, Apart):
                yield two_of(relation)[0]

    def _put(self, placed_: Placed) -> None:
        self.places.setdefault(placed_.id, []).append(placed_)
        solid = self.order.solid(placed_.id)
        if solid is not None:
            self.standing.append(Standing.at(placed_.id, solid, placed_.place))

    def _step(self) -> bool:
        """Place one more thing by a relation to one that stands. Screws say it more exactly than pockets."""
        for number, meets in self.meets.items():
            a, b = meets.pair
            if (a in self.places) == (b in self.places) or number in self.ways:
                continue
            if not meets.ways:
                self.why.setdefault(b if a in self.places else a, meets.why or "its holes do not meet")
                continue
            self._by_holes(number, meets)
            return True
        for held in self.held.values():
            relation = held.relation
            if relation.part in self.places and relation.thing not in self.places:
                if held.place is None:
                    self.why.setdefault(relation.thing, held.why)
                    continue
                self._put(
                    Placed(relation.thing, self.places[relation.part][0].place @ held.place, f"held by {relation.part}")
                )
                return True
            if relation.thing in self.places and relation.part not in self.places and held.place is not None:
                here = self.places[relation.thing][0].place @ inverse(held.place)
                self._put(Placed(relation.part, here, f"holds {relation.thing}"))
                return True
        return self._by_face()

    def _by_face(self) -> bool:
        """Place one more thing by a face that lies on one of what stands."""
        for relation in self.order.order.relation:
            if not isinstance(relation, FacesMeet):
                continue
            a, b = relation.a.of, relation.b.of
            if (a in self.places) == (b in self.places):
                continue
            stands, comes = (a, b) if a in self.places else (b, a)
            try:
                place = place_by_faces(self.order, relation)
            except CannotCheck as why:
                self.why.setdefault(comes, str(why))
                continue
            there = place if stands == a else inverse(place)
            self._put(Placed(comes, self.places[stands][0].place @ there, f"by its face on {stands}"))
            return True
        return False

    def _by_holes(self, number: int, meets: Meets) -> None:
        a, b = meets.pair
        forth = a in self.places
        stands, comes = (a, b) if forth else (b, a)
        base = self.places[stands][0].place
        choice = self._unused(meets, self._choice(meets))
        ways = [x if forth else other_way_round(x) for x in choice]
        looked = list(enumerate(ways[:_MOST_LOOKED]))
        free = [(i, x) for i, x in looked if not self._clashes(comes, base @ x.place)]
        scores = [(round(self._off(comes, base @ x.place), 2), i) for i, x in free or looked]
        good = sum(off == 0.0 for off, _ in scores) if free else 0
        chosen = min(scores)[1]
        self.ways[number] = choice[chosen]
        if good > 1:
            self.also[number] = good - 1
        self._put(Placed(comes, base @ ways[chosen].place, f"by its holes on {stands}"))

    def _choice(self, meets: Meets) -> list[Way]:
        """Return the ways that are left: what lies between two things lies on the side on which they meet."""
        taken = self.ways.get(meets.of) if meets.of is not None else None
        if taken is None:
            return list(meets.ways)
        normals = self.order.things[meets.pair[0]].shape.holes.normal
        left = [x for x in meets.ways if float(normals[x.a[0]] @ normals[taken.a[0]]) > 0.99]
        return left or list(meets.ways)

    def _unused(self, meets: Meets, ways: list[Way]) -> list[Way]:
        """Return the ways by the holes in which there are the fewest screws of other relations.

        A bent part is screwed to one thing by one panel and to the next by another, all holes alike.
        """
        screws: dict[str, set[int]] = {x: set() for x in meets.pair}
        for number, way in self.ways.items():
            other = self.meets[number]
            if meets.of is not None or other.of is not None:
                # What lies between shares the screws.
                continue
            for id, openings in zip(other.pair, (way.a, way.b), strict=True):
                if id in screws:
                    screws[id] |= set(self.order.things[id].shape.holes.hole[openings].tolist())
        sides = [(self.order.things[x].shape.holes.hole, screws[x]) for x in meets.pair]
        used = [
            sum(
                len(there & set(holes[openings].tolist()))
                for (holes, there), openings in zip(sides, (x.a, x.b), strict=True)
            )
            for x in ways
        ]
        return [x for x, count in zip(ways, used, strict=True) if count == min(used)]

    def _clashes(self, id: str, place: Floats) -> bool:
        """Return whether a thing would run into what stands, by more than hardly."""
        solid = self.order.solid(id)
        if solid is None:
            return False
        here = Standing.at(id, solid, place)
        return any(overlap(here, x)[0] > _CLASH_MM for x in reversed(self.standing))

    def _off(self, id: str, place: Floats) -> float:
        """Return how far the thing's other holes would be from holes that they belong to on what stands (mm)."""
        worst = 0.0
        for meets in self.meets.values():
            if id in meets.pair and meets.ways:
                other = meets.pair[1] if meets.pair[0] == id else meets.pair[0]
                if other in self.places:
                    pair = (place, self.places[other][0].place)
                    worst = max(worst, self._apart(meets, *(pair if meets.pair[0] == id else pair[::-1]))[0])
        return worst

    def _apart(self, meets: Meets, place_a: Floats, place_b: Floats) -> tuple[float, Way]:
        """Return how far the axes of a relation's holes are apart (mm), in the way that is nearest, and that way."""
        a, b = (self.order.things[x].shape.holes for x in meets.pair)
        best, nearest = np.inf, meets.ways[0]
        for way in meets.ways:
            one, other = moved(place_a, a.point[way.a]), moved(place_b, b.point[way.b])
            axis = place_a[:3, :3] @ a.normal[way.a[0]]
            between = other - one
            across = between - np.outer(between @ axis, axis)
            apart = float(np.linalg.norm(across, axis=1).max())
            if apart < best:
                best, nearest = apart, way
        return best, nearest

    def _loop(self, number: int, meets: Meets) -> None:
        a, b = meets.pair
        if a in self.places and b in self.places and meets.ways:
            try:
                apart, way = self._apart(meets, self.places[a][0].place, self.places[b][0].place)
            except CannotCheck:
                return
            self.loops[number], self.ways[number] = apart, way
