"""Screws in their places: how far they reach, how much thread they find, whether head and tool have room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.model.material import Value
from lintsvc.order.fasteners import Head, engagement_mm, head_of, nut_height_mm, nut_of, pitch_mm
from lintsvc.order.frames import Floats, frame_on
from lintsvc.order.free_room import areas, around, free_across, held_hexagon
from lintsvc.order.meeting import Meets, Way, thickness_of
from lintsvc.order.tool_sizes import Tool, angled_key, spanner
from lintsvc.order.tools import Reach, reach_of
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: Room above a head that a straight key or driver needs.
TOOL_LONG_MM = 25.0


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
    """Room about one screw's head or nut, across: `head_mm` beside it, `tool_mm` above it; None where it is free.

    `reaches`: what came of other tools, which are tried where a straight one finds no room.
    """

    meets: Meets
    head: Head
    sunk: bool
    head_mm: float | None
    tool_mm: float | None
    in_the_way: str
    at: tuple[float, float, float]
    reaches: tuple[Reach, ...] = ()
    #: A nut in a pocket of its shape, which keeps it from turning.
    kept: bool = False

    @property
    def turns(self) -> bool:
        """Some tool turns it."""
        return self.tool_mm is None or any(x.turns for x in self.reaches)

    @property
    def holds(self) -> bool:
        """Some tool can be put on it, or it is held by its pocket."""
        return self.kept or self.tool_mm is None or any(x.holds for x in self.reaches)


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
    holes = order.things[meets.pair[0]].shape.holes
    sinks = order.things[meets.pair[0]].shape.countersinks
    found = []
    for one in order.way(meets).a.tolist():
        number = int(holes.hole[one])
        sunk = number < len(sinks) and bool(sinks[number])
        found.append(_room(order, meets, meets.pair[0], one, head, sunk=sunk))
    return found


def nut_rooms(order: CheckedOrder, meets: Meets) -> list[Room]:
    """Return the room about each screw's nut, on the far side of b, with everything in its place."""
    if meets.relation.screw.into != "nut" or meets.of is not None:
        return []
    nut = nut_of(meets.relation.screw.size)
    return [_room(order, meets, meets.pair[1], one, nut, nut=True) for one in order.way(meets).b.tolist()]


def out_of_reach(heads: list[Room], nuts: list[Room]) -> tuple[list[Room], list[Room]]:
    """Return heads and nuts that no tool comes to: one of both is turned, and the other held meanwhile."""
    if not nuts:
        return [x for x in heads if not x.turns], []
    pairs = list(zip(heads, nuts, strict=True))
    return (
        [head for head, nut in pairs if not (head.turns or (head.holds and nut.turns))],
        [nut for head, nut in pairs if not nut.holds],
    )


def _room(
    order: CheckedOrder, meets: Meets, own: str, one: int, head: Head, *, sunk: bool = False, nut: bool = False
) -> Room:
    """Return the room about what sits on the far side of a thing's hole."""
    base = order.placing.of(own)
    place = np.eye(4) if base is None else base.place
    seat, out = _seat(order.things[own].shape.holes, one)
    here = _frame_at(seat, -out)
    frame = place @ here
    beside, who = None, ""
    if not sunk:
        body = areas(order, own, frame, head.diameter_mm / 2 + 0.5, (0.0, head.height_mm))
        beside, who, _ = free_across(body, head.diameter_mm)
    x, y, z = seat.tolist()
    tight = beside is not None and beside >= head.flats_mm - 1e-6
    if nut and tight and held_hexagon(order, own, frame, head.flats_mm, head.height_mm):
        return Room(meets, head, sunk, None, 0.0, who, (x, y, z), kept=True)
    start = 0.0 if sunk else head.height_mm
    # A tool comes while only the two sides are there. A socket goes about the hexagon, down to its seat.
    low = 0.0 if head.kind == "hexagon" else start
    above = areas(order, own, frame, head.tool_mm / 2 + 0.5, (low, start + TOOL_LONG_MM), meets.pair)
    over, other, _ = free_across(above, head.tool_mm)
    tool = None if over is None else _other_tool(head, sunk=sunk)
    reaches = () if tool is None else (reach_of(order, own, frame, here[:3, :3], tool, meets.pair),)
    return Room(meets, head, sunk, beside, over, who or other, (x, y, z), reaches)


def _other_tool(head: Head, *, sunk: bool) -> Tool | None:
    """Return what turns a head that a straight tool does not reach; None where its kind is not known."""
    if head.kind == "hexagon":
        return spanner(head.flats_mm, head.height_mm)
    return angled_key(head.flats_mm, head.height_mm, sunk=sunk) if head.kind == "socket" else None


def _seat(holes: Any, one: int) -> tuple[Floats, Floats]:
    """Return where the head sits, on the far side of a's hole, and the way the screw points."""
    way = holes.normal[one]
    return holes.point[one] - way * holes.depth_mm[one], way


def _frame_at(point: Floats, z: Floats) -> Floats:
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = frame_on(z), point
    return frame


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
    for each in around(order, meets.pair[0], frame, (radius, start_mm, length)):
        common = pin ^ each.solid
        if not common.is_empty() and common.volume() > 1e-3:
            reach = max(0.0, float(common.bounding_box()[2]) - start_mm)
            if least is None or reach < least:
                least, who = reach, each.id
    return least, who
