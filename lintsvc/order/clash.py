"""Placed things that run into each other, and how near the others come that have to stay clear."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lintsvc.model.finding import Where
from lintsvc.order.frames import Floats, corners_of, inverse, moved, turned
from lintsvc.order.relations import Apart
from lintsvc.order.solids import Standing, gap, overlap
from lintsvc.order.tolerances import finish_per_face, size_tolerance

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: Gaps are looked for up to this, and three times the play that is wanted.
_FAR_MM = 3.0
#: What slides is moved by its gap, and by at least this; on a long way by more: there are at most so many steps.
_STEP_MM, _MOST_STEPS = 0.1, 400


@dataclass(frozen=True, eq=False)
class Clash:
    """Two placed things with something in common. `where` is in the frame of the first."""

    a: str
    b: str
    depth_mm: float
    volume_mm3: float
    where: Where


@dataclass(frozen=True, eq=False)
class Apartness:
    """What came of a slides, presses or stays-clear relation: the gap (mm), negative as deep as they overlap.

    `why` says why it is not known. A gap of `far_mm` may be larger: it was not looked for farther.
    """

    number: int
    relation: Apart
    gap_mm: float | None
    why: str = ""
    #: What tolerances of both may take of the gap, or of the overlap of what is pressed, on one side.
    loss_mm: float = 0.0
    #: What the finishes of both take of the gap.
    finish_mm: float = 0.0
    far_mm: float = math.inf
    #: How far along its travel the gap is least; None where it stands still.
    along_mm: float | None = None

    @property
    def left_mm(self) -> float:
        """The gap that is left after the tolerances; of what is pressed, the overlap."""
        gap_mm = self.gap_mm or 0.0
        return (-gap_mm if self.relation.kind == "presses" else gap_mm) - self.loss_mm


def clashes(order: CheckedOrder) -> tuple[Clash, ...]:
    """Return the pairs that overlap by more than a touch, the deepest first. Pairs that are pressed are meant to."""
    relations = order.order.relation
    pressed = {frozenset((x.a, x.b)) for x in relations if isinstance(x, Apart) and x.kind == "presses"}
    # Whether a thing goes into its place is told as such, and not again as a clash.
    pressed |= {frozenset((x.relation.part, x.relation.thing)) for x in order.held if x.clearance_mm < 0}
    found = []
    for i, (place, one) in enumerate(order.standing):
        for _, other in order.standing[i + 1 :]:
            if not one.near(other.box) or frozenset((one.id, other.id)) in pressed:
                continue
            depth, middle, box, volume = overlap(one, other)
            if depth > 0:
                found.append(Clash(one.id, other.id, depth, volume, _where(place, middle, box)))
    return tuple(sorted(found, key=lambda x: -x.depth_mm))


def _where(place: Floats, middle: Floats, box: tuple[Floats, Floats]) -> Where:
    """Return a place of the assembly in the frame of a part."""
    back = inverse(place)
    corners = moved(back, corners_of(*box))
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y, z = moved(back, [middle])[0].tolist()
    return Where((x, y, z), (_point(low), _point(high)))


def _point(row: Floats) -> tuple[float, float, float]:
    x, y, z = row.tolist()
    return x, y, z


def apartness(order: CheckedOrder, number: int, relation: Apart) -> Apartness:
    """Return how far two related things are apart as they stand."""
    stands = []
    for id in (relation.a, relation.b):
        at = order.placing.of(id)
        if at is None:
            return Apartness(number, relation, None, f"{id} is not placed: {order.placing.missing[id]}")
        solid = order.solid(id)
        if solid is None:
            return Apartness(number, relation, None, f"{id}: its mesh is no closed solid")
        stands.append(Standing.at(id, solid, at.place))
    one, other = stands
    # What is much farther apart than wanted need not be known more exactly.
    far = _FAR_MM + 3 * (relation.play or 0.0)
    if relation.travel is None:
        least, along = _apart(one, other, far), None
    else:
        place = order.placing.of(relation.a)
        assert place is not None  # looked at above
        way = turned(place.place, [relation.travel])[0]
        # Where it is as near all along, the first place is told.
        least, along = min(_gaps_along(one, other, way, far), key=lambda x: (round(x[0], 4), x[1]))
    loss = coat = 0.0
    for id in (relation.a, relation.b):
        thing = order.things[id]
        low, high = thing.shape.box
        loss += size_tolerance(thing, float((high - low).max())).value / 2
        coat += finish_per_face(thing).value
    return Apartness(number, relation, least, "", loss, coat, far, along)


def _apart(one: Standing, other: Standing, far_mm: float) -> float:
    """Return how far two things are apart; below zero as deep as they overlap."""
    depth = overlap(one, other)[0]
    return -depth if depth > 0 else gap(one, other, far_mm)


def _gaps_along(one: Standing, other: Standing, way: Floats, far_mm: float) -> Iterator[tuple[float, float]]:
    """Yield the gap, and how far along the way it is, while the other moves: by its gap at a time, so past nothing.

    Where it comes closer than the least step, what is thinner than that step may be passed.
    """
    long = float(math.hypot(*way))
    step, gone = max(_STEP_MM, long / _MOST_STEPS), 0.0
    while True:
        x, y, z = (way * (gone / long)).tolist()
        solid = other.solid.translate((x, y, z))
        now = _apart(one, Standing(other.id, solid, tuple(solid.bounding_box())), far_mm)
        yield now, gone
        if gone >= long:
            return
        gone = min(long, gone + max(now, step))
