"""An order of bends in which no panel stands in the way of punch or die.

Tried with stated, common tools; another punch gives another answer. What is found here is a warning at most.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.measure.fold_collide import panel_body
from lintsvc.measure.fold_pose import Floats, Pose, bent, moved, pose
from lintsvc.measure.fold_tools import Tool, Tooling

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from lintsvc.measure.fold import Folded

#: Between panel and tool (mm): tools touch the sheet, they do not run into it.
_CLEAR_MM = 0.1
#: Smaller overlaps are rounding (mm³).
_LEAST_MM3 = 0.01
#: Stages of a bend at which panels are looked at (part of its angle): set down, half way, done.
_STAGES = (0.02, 0.5, 1.0)
#: What a punch bends to at most; from there a hem is pressed flat between tools that are in nobody's way.
_PUNCHED_RAD = math.radians(150.0)
#: Narrower holes in a panel let no tool through; filling them is what keeps this fast (mm).
_WINDOW_MM = 20.0
#: So many bends in so many states are tried, fewer for parts of many bends; parts with more have no answer.
_MOST_TRIES = 1500
_MOST_PLACES = 12_000


@dataclass(frozen=True, slots=True)
class Blocked:
    """Why a bend cannot be made when some others are done: which panel meets which tool."""

    operation: tuple[int, ...]
    done: tuple[int, ...]
    panel: int
    tool: Tool


@dataclass(frozen=True)
class BendOrder:
    """`order`: bends as they can be made one after the other, None where there is no such order or none was found.

    `searched`: False where the search was given up. `blocked`: for a part without an order, what stood in the
    way of each bend that was left, at the furthest point reached. `tooling`: what was assumed.
    """

    order: tuple[tuple[int, ...], ...] | None
    searched: bool
    blocked: tuple[Blocked, ...]
    tooling: Tooling


def bend_order(folded: Folded, tooling: Tooling | None = None) -> BendOrder:
    """Return an order of bends, tried with common tools. `folded`: the part folded whole."""
    from lintsvc.handbook.bending import die_opening

    if tooling is None:
        tooling = Tooling(die_opening(folded.thickness_mm)[1].value)
    search = _Search(folded, tooling)
    try:
        # The last bend of any order is made with all others done: where none can be, there is no order.
        order = None
        if search.has_a_last():
            order = search.from_here(())
        else:
            search.as_far_as_it_goes()
    except _GivenUp:
        return BendOrder(None, False, (), tooling)
    return BendOrder(order, True, () if order is not None else search.furthest_blocked(), tooling)


class _GivenUp(Exception):
    """Too many states."""


@dataclass
class _Search:
    folded: Folded
    tooling: Tooling
    _known: dict[tuple[frozenset[int], int], Blocked | None] = field(default_factory=dict)
    _dead: set[frozenset[int]] = field(default_factory=set)
    _furthest: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        import networkx as nx
        import shapely

        # Bends far out go first, as in a shop: a return before the wall that it hangs on.
        away = nx.single_source_shortest_path_length(self.folded.graph, self.folded.base)
        beside = {
            bend.number: max(
                away.get(panel, 0)
                for zone, sides in zip(self.folded.zones, self.folded.cells.sides, strict=True)
                if self.folded.bends[zone.bend].number == bend.number
                for side in sides
                for panel in side
            )
            for bend in self.folded.bends
        }
        self.operations = sorted(self.folded.operations, key=lambda names: -max(beside[n] for n in names))

        thickness = self.folded.thickness_mm
        filled = [_filled(p) for p in self.folded.panels]
        self._bodies = [panel_body(p, thickness) for p in filled]
        rims = [np.array(shapely.get_coordinates(p.convex_hull)) for p in filled]
        self._corners = [
            np.vstack([np.column_stack([rim, np.full(len(rim), z)]) for z in (0.0, thickness)]) for rim in rims
        ]

    def from_here(self, made: tuple[int, ...]) -> tuple[tuple[int, ...], ...] | None:
        """Return the rest of an order when these operations are made; None where there is none."""
        done = frozenset(made)
        if len(done) > len(self._furthest):
            self._furthest = done
        if len(made) == len(self.operations):
            return tuple(self.operations[i] for i in made)
        if done in self._dead:
            return None
        for i in range(len(self.operations)):
            if i not in done and self._blocked(done, i) is None:
                found = self.from_here((*made, i))
                if found is not None:
                    return found
        self._dead.add(done)
        return None

    def has_a_last(self) -> bool:
        """True when some bend can be made with all others done."""
        every = frozenset(range(len(self.operations)))
        return not every or any(self._blocked(every - {i}, i) is None for i in every)

    def as_far_as_it_goes(self) -> None:
        """Make one bend after the other until none of those left can be made."""
        possible = True
        while possible:
            left = [i for i in range(len(self.operations)) if i not in self._furthest]
            free = next((i for i in left if self._blocked(self._furthest, i) is None), None)
            possible = free is not None
            if free is not None:
                self._furthest |= {free}

    def furthest_blocked(self) -> tuple[Blocked, ...]:
        left = [i for i in range(len(self.operations)) if i not in self._furthest]
        return tuple(x for i in left if (x := self._blocked(self._furthest, i)) is not None)

    def _blocked(self, done: frozenset[int], operation: int) -> Blocked | None:
        key = (done, operation)
        if key not in self._known:
            if len(self._known) >= min(_MOST_TRIES, _MOST_PLACES // len(self.operations)):
                raise _GivenUp
            self._known[key] = self._tried(done, operation)
        return self._known[key]

    def _tried(self, done: frozenset[int], operation: int) -> Blocked | None:
        names = self.operations[operation]
        turn = max(b.angle for b in self.folded.bends if b.number in names)
        for stage in (min(x, _PUNCHED_RAD / turn) for x in _STAGES):
            parts: dict[int, float] = {}
            for i, bends in enumerate(self.operations):
                part = stage if i == operation else 1.0 if i in done else 0.0
                parts.update(dict.fromkeys(bends, part))
            hit = self._hit(parts, names)
            if hit is not None:
                made = tuple(sorted(b for i in done for b in self.operations[i]))
                return Blocked(names, made, *hit)
        return None

    def _hit(self, parts: Mapping[int, float], names: tuple[int, ...]) -> tuple[int, Tool] | None:
        """Return a panel that a tool runs into at this stage; the panels beside the bend rest on the tools."""
        folded = self.folded
        # Only where the panels go is wanted: a whole posed part would place every vertex.
        place = pose(folded.cells, folded.bends, folded.zones, folded.thickness_mm, folded.base, parts)
        zones = [n for n, z in enumerate(folded.zones) if folded.bends[z.bend].number in names]
        beside = {p for n in zones for side in folded.cells.sides[n] for p in side}
        frame, length = _machine_frame(folded, place, zones)
        others = [i for i, body in enumerate(self._bodies) if i not in beside and body is not None]
        moves = {i: frame @ place.panels[i] for i in others}
        boxes = {i: _box(moved(moves[i], self._corners[i])) for i in others}
        for tool, body in self._tools(folded.thickness_mm, length, place.turns[folded.zones[zones[0]].bend]):
            low, high = np.array(body.bounding_box(), float).reshape(2, 3)
            for panel in others:
                if (boxes[panel][0] > high).any() or (low > boxes[panel][1]).any():
                    continue
                if (self._bodies[panel].transform(moves[panel][:3]) ^ body).volume() > _LEAST_MM3:
                    return panel, tool
        return None

    def _tools(self, thickness_mm: float, length: float, turn: float) -> list[tuple[Tool, Any]]:
        # Seen from the punch's tip the die rises: the wings, half the angle up, rest on the shoulders of its V.
        half = turn / 2
        rise = self.tooling.die_opening_mm / 2 * math.tan(half) - thickness_mm / math.cos(half) if half < 1.5 else 0.0
        die = self.tooling.die(length).translate((0.0, 0.0, rise - _CLEAR_MM))
        punch = self.tooling.punch(length).translate((0.0, 0.0, _CLEAR_MM))
        return [("punch", punch), ("beam", self.tooling.beam()), ("die", die)]


def _filled(panel: Polygon) -> Polygon:
    """Return a panel without the holes that no tool passes through."""
    import shapely

    wide = [r for r in panel.interiors if min(np.ptp(shapely.get_coordinates(r), axis=0)) > _WINDOW_MM]
    return shapely.Polygon(panel.exterior, wide)


def _box(points: Floats) -> tuple[Floats, Floats]:
    return points.min(axis=0), points.max(axis=0)


def _machine_frame(folded: Folded, pose: Pose, zones: list[int]) -> tuple[Floats, float]:
    """Return the 4 × 4 map from the folded part to the machine, and the length of the tools.

    The middle of the bend's inner face comes to the origin, both wings risen alike.
    """
    first = folded.zones[zones[0]]
    bend, turn = folded.bends[first.bend], pose.turns[first.bend]
    place, t = pose.zones[zones[0]], folded.thickness_mm
    x = np.concatenate([bend.here(np.asarray(folded.zones[n].area.exterior.coords))[:, 0] for n in zones])
    middle = bend.back(np.array([[(x.min() + x.max()) / 2, 0.0]]))
    inner, outer = (t, 0.0) if bend.up else (0.0, t)
    tip = moved(place, bent(bend, turn, t, middle, inner))[0]
    foot = moved(place, bent(bend, turn, t, middle, outer))[0]
    up = (tip - foot) / np.linalg.norm(tip - foot)
    along = place[:3, :3] @ np.array([*bend.along, 0.0])
    frame = np.eye(4)
    frame[:3, :3] = np.stack([np.cross(along, up), along, up])
    frame[:3, 3] = -frame[:3, :3] @ tip
    return frame, float(x.max() - x.min())
