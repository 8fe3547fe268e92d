"""Screws in their places: how far they reach, how much thread they find, whether head and tool have room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.model.material import Value
from lintsvc.order.fasteners import Head, engagement_mm, head_of, nut_height_mm, nut_of, pitch_mm
from lintsvc.order.frames import Floats, frame_on, inverse, moved
from lintsvc.order.meeting import Meets, Way, thickness_of
from lintsvc.order.solids import Standing
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.check import CheckedOrder

#: Room above a head that a straight key or driver needs.
TOOL_LONG_MM = 25.0
#: Slices are taken so far off a face that they do not lie in it.
_OFF_MM = 0.05


@dataclass(frozen=True, eq=False)
class Driven:
    """One screw as it sits. Lengths in mm from under its head; `seat` is the middle of its head's face.

    `grip_mm`: what it clamps before it gets to the part it goes into. `depth_mm`: the hole in that part.
    `far_mm`: free way beyond that part before it runs into something; None where nothing is in the way.
    """

    meets: Meets
    length_mm: float
    grip_mm: float
    depth_mm: float
    blind: bool
    engaged_mm: float
    needed: Value
    far_mm: float | None
    #: What is in the way there.
    behind: str
    #: Where it sits: middle of its head's face in the frame of a.
    at: tuple[float, float, float]

    @property
    def tapped(self) -> bool:
        """It goes into a thread, not a nut."""
        return self.meets.relation.screw.into == "thread"

    @property
    def needed_length_mm(self) -> float:
        """The least length that clamps and holds."""
        screw = self.meets.relation.screw.size
        if self.tapped:
            return self.grip_mm + self.needed.value
        return self.grip_mm + self.depth_mm + nut_height_mm(screw) + pitch_mm(screw)


@dataclass(frozen=True, eq=False)
class Room:
    """Room about one screw's head, across: `head_mm` beside the head, `tool_mm` above it; None where it is free.

    Of a nut only what is beside it: a spanner comes from wherever it can.
    """

    meets: Meets
    head: Head
    sunk: bool
    head_mm: float | None
    tool_mm: float | None
    in_the_way: str
    at: tuple[float, float, float]


def driven(order: CheckedOrder, meets: Meets) -> list[Driven]:
    """Return the screws of a relation. Raises CannotCheck where their length is not known."""
    screw = meets.relation.screw
    if screw.length is None:
        raise CannotCheck(f"{meets.pair[0]}, {meets.pair[1]}: say how long the screws are: length")
    way = order.way(meets)
    a, b = (order.things[x] for x in meets.pair)
    between = sum(thickness_of(order.things[x]) for x in meets.relation.through)
    family = getattr(getattr(b, "material", None), "family", None)
    found = []
    for one, other in zip(way.a.tolist(), way.b.tolist(), strict=True):
        grip = float(a.shape.holes.depth_mm[one]) + between
        depth = float(b.shape.holes.depth_mm[other])
        blind = not bool(b.shape.holes.through[other])
        engaged = max(0.0, min(screw.length - grip, depth)) if screw.into == "thread" else 0.0
        needed = engagement_mm(screw.size, family)
        if b.shape.kind == "bought" and blind:
            # Its maker gave its thread the depth that is needed; a pitch of it stays free at the bottom.
            needed = Value(min(needed.value, depth - pitch_mm(screw.size)), needed.source)
        if b.shape.kind == "sheet":
            # A thin sheet's own threads are judged by the thread rules; here only whether the screw uses them.
            needed = Value(min(needed.value, depth), needed.source)
        outer = a.shape.holes.point[one] - a.shape.holes.normal[one] * a.shape.holes.depth_mm[one]
        far, behind = (None, "") if blind else _far(order, meets, way, one, grip + depth)
        x, y, z = outer.tolist()
        found.append(Driven(meets, screw.length, grip, depth, blind, engaged, needed, far, behind, (x, y, z)))
    return found


def rooms(order: CheckedOrder, meets: Meets) -> list[Room]:
    """Return the room about each screw's head, with everything in its place."""
    head = head_of(meets.relation.screw)
    way = order.way(meets)
    a = order.things[meets.pair[0]]
    base = order.placing.of(meets.pair[0])
    place = np.eye(4) if base is None else base.place
    found = []
    for one in way.a.tolist():
        number = int(a.shape.holes.hole[one])
        sunk = number < len(a.shape.countersinks) and bool(a.shape.countersinks[number])
        seat, out = _seat(a.shape.holes, one)
        frame = place @ _frame_at(seat, -out)
        beside, who = (None, "") if sunk else _free(order, meets, frame, (_OFF_MM, head.height_mm), head.diameter_mm)
        start = 0.0 if sunk else head.height_mm
        above, other = _free(order, meets, frame, (start + _OFF_MM, start + TOOL_LONG_MM), head.tool_mm, near=True)
        x, y, z = seat.tolist()
        found.append(Room(meets, head, sunk, beside, above, who or other, (x, y, z)))
    return found


def nut_rooms(order: CheckedOrder, meets: Meets) -> list[Room]:
    """Return the room about each screw's nut, on the far side of b, with everything in its place."""
    if meets.relation.screw.into != "nut" or meets.of is not None:
        return []
    nut, way, b = nut_of(meets.relation.screw.size), order.way(meets), meets.pair[1]
    holes = order.things[b].shape.holes
    base = order.placing.of(b)
    place = np.eye(4) if base is None else base.place
    found = []
    for one in way.b.tolist():
        seat, out = _seat(holes, one)
        frame = place @ _frame_at(seat, -out)
        beside, who = _free(order, meets, frame, (_OFF_MM, nut.height_mm), nut.diameter_mm, own=b)
        x, y, z = seat.tolist()
        found.append(Room(meets, nut, False, beside, None, who, (x, y, z)))
    return found


def _seat(holes: Any, one: int) -> tuple[Floats, Floats]:
    """Return where the head sits, on the far side of a's hole, and the way the screw points."""
    way = holes.normal[one]
    return holes.point[one] - way * holes.depth_mm[one], way


def _frame_at(point: Floats, z: Floats) -> Floats:
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = frame_on(z), point
    return frame


def _around(order: CheckedOrder, own: str, frame: Floats, reach: tuple[float, float, float]) -> list[Standing]:
    """Return what stands near an axis of a thing, from the axis's frame: `reach` is radius, lowest, highest height."""
    radius, low, high = reach
    corners = moved(frame, [[x, y, z] for x in (-radius, radius) for y in (-radius, radius) for z in (low, high)])
    box = (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())
    near = [x for _, x in order.standing if x.near(box)]
    if order.placing.of(own) is None:
        # Nothing says where it stands: then it is looked at by itself.
        solid = order.solid(own)
        near = [] if solid is None else [Standing.at(own, solid, np.eye(4))]
    back = inverse(frame)
    return [Standing.at(x.id, x.solid, back) for x in near]


def _free(
    order: CheckedOrder,
    meets: Meets,
    frame: Floats,
    heights: tuple[float, float],
    across: float,
    *,
    own: str = "",
    near: bool = False,
) -> tuple[float | None, str]:
    """Return how wide it is free about an axis between two heights, and what is there; None where it is wide enough.

    `near`: only the two sides of the relation are there. `own`: the side that the axis is of, the first if left out.
    """
    least, who = np.inf, ""
    for each in _around(order, own or meets.pair[0], frame, (across / 2, *heights)):
        if near and each.id not in meets.pair:
            continue
        if not each.near((-across / 2, -across / 2, heights[0], across / 2, across / 2, heights[1])):
            continue
        for height in np.linspace(*heights, 7 if near else 5).tolist():
            distance = _distance(each.solid.slice(height))
            if distance < least:
                least, who = distance, each.id
    return (None, "") if 2 * least >= across - 1e-6 else (2 * float(least), who)


def _distance(section: Any) -> float:
    """Return how far the origin is from a section's area; 0 inside it."""
    least, inside = np.inf, False
    for ring in section.to_polygons():
        a = np.asarray(ring)
        b = np.roll(a, -1, axis=0)
        step = b - a
        share = np.clip(-(a * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-18), 0, 1)
        least = min(least, float(np.linalg.norm(a + share[:, None] * step, axis=1).min()))
        crosses = (a[:, 1] > 0) != (b[:, 1] > 0)
        at = a[crosses, 0] - a[crosses, 1] * step[crosses, 0] / step[crosses, 1]
        inside ^= bool((at > 0).sum() % 2)
    return 0.0 if inside else least


def _far(order: CheckedOrder, meets: Meets, way: Way, one: int, start_mm: float) -> tuple[float | None, str]:
    """Return how far a screw may come out beyond the part it goes into before it runs into something, and into what."""
    from manifold3d import Manifold

    a = order.things[meets.pair[0]]
    base = order.placing.of(meets.pair[0])
    if base is None:
        return None, ""
    seat, along = _seat(a.shape.holes, one)
    length = meets.relation.screw.length or 0.0
    if length <= start_mm:
        return None, ""
    frame, radius = base.place @ _frame_at(seat, along), meets.screw_mm / 2
    pin = Manifold.cylinder(length - start_mm, radius * 0.95, circular_segments=24).translate((0.0, 0.0, start_mm))
    least, who = None, ""
    for each in _around(order, meets.pair[0], frame, (radius, start_mm, length)):
        common = pin ^ each.solid
        if not common.is_empty() and common.volume() > 1e-3:
            reach = max(0.0, float(common.bounding_box()[2]) - start_mm)
            if least is None or reach < least:
                least, who = reach, each.id
    return least, who
