"""Brackets of sheet with one fault planted at a known place, for every rule about bends, threads and countersinks.

A bracket is a plate with a flange at either end, a tab with reliefs on one side, plain holes, a tapped and
a countersunk hole; sizes, holes and the way it lies on the page are drawn from a seed. `good(seed)` has no
fault; `PLANTS[rule]` changes one thing and says where the finding must lie and which entity it must name.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from lintsvc.handbook.bending import bend_allowance
from lintsvc.handbook.countersinks import countersink
from lintsvc.handbook.threads import thread
from lintsvc.model.choices import Choices, CountersinkChoice, ThreadChoice
from lintsvc.model.part import Part
from lintsvc.model.sheet import Circle, Direction, Entity, Line, Point2, Sheet
from lintsvc.model.units import Units

#: 0.64 T + 1.57 R at 90°: Machinery's Handbook, 31st ed., p. 1421, eq. 33, for aluminium.
K = 0.64 / (math.pi / 2)


@dataclass
class BendLine:
    start: Point2
    end: Point2
    angle_deg: float | None = 90.0
    direction: Direction | None = "up"
    radius_mm: float | None = None


@dataclass
class Hole:
    centre: Point2
    diameter_mm: float


@dataclass
class Expected:
    """Where the finding must lie (in the bracket's own axes), how near, and of which drawn thing."""

    at: Point2
    within_mm: float
    #: `bend 0`, `hole 2` …: one of these the finding must name; empty where the place says all.
    names: str | tuple[str, ...] = ()
    count: int = 1
    #: Rules that the same change breaks by necessity.
    also: tuple[str, ...] = ()


@dataclass
class Bracket:
    """One bracket in its own axes: x across, y from the first flange's edge to the second's."""

    t: float
    radius: float
    width: float
    length: float
    first: float
    second: float
    tab: tuple[float, float]
    tab_deep: float
    relief_wide: float
    relief_deep: float
    material: str = "aluminium-5052-h32"
    left_relief: bool = True
    #: A notch from the first flange's edge: x, width, depth.
    notch: tuple[float, float, float] | None = None
    holes: list[Hole] = field(default_factory=list)
    bends: list[BendLine] = field(default_factory=list)
    tapped: list[tuple[str, int]] = field(default_factory=list)
    sunk: list[tuple[str, int]] = field(default_factory=list)
    turn_deg: float = 0.0
    shift: Point2 = (0.0, 0.0)

    @property
    def half(self) -> float:
        """Half the bend allowance at 90°."""
        return bend_allowance(90.0, self.radius, self.t, K) / 2

    def outline(self) -> list[Point2]:
        low, high = self.tab
        edge, wide, deep = self.width, self.relief_wide, self.relief_deep
        out: list[Point2] = [(0.0, 0.0)]
        if self.notch:
            x, across, down = self.notch
            out += [(x, 0.0), (x, down), (x + across, down), (x + across, 0.0)]
        out.append((edge, 0.0))
        if self.left_relief:
            out += [(edge, low - wide), (edge - deep, low - wide), (edge - deep, low), (edge, low)]
        else:
            out.append((edge, low))
        out += [(edge + self.tab_deep, low), (edge + self.tab_deep, high), (edge, high)]
        out += [(edge - deep, high), (edge - deep, high + wide), (edge, high + wide)]
        out += [(edge, self.length), (0.0, self.length)]
        return out

    def placed(self, point: Point2) -> Point2:
        c, s = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return (self.shift[0] + point[0] * c - point[1] * s, self.shift[1] + point[0] * s + point[1] * c)

    def entities(self) -> tuple[tuple[Entity, ...], dict[str, int]]:
        """Return the drawn things, and their numbers by name."""
        found: list[Entity] = []
        names: dict[str, int] = {}
        corners = [self.placed(x) for x in self.outline()]
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
            found.append(Entity(len(found), f"#{len(found)}", "line", "CUT", (Line(a, b),)))
        for i, hole in enumerate(self.holes):
            names[f"hole {i}"] = len(found)
            shape = Circle(self.placed(hole.centre), hole.diameter_mm / 2)
            found.append(Entity(len(found), f"#{len(found)}", "circle", "CUT", (shape,)))
        for i, bend in enumerate(self.bends):
            names[f"bend {i}"] = len(found)
            line = Line(self.placed(bend.start), self.placed(bend.end))
            found.append(
                Entity(
                    len(found),
                    f"#{len(found)}",
                    "line",
                    "BEND",
                    (line,),
                    role="bend",
                    bend_angle_deg=bend.angle_deg,
                    bend_direction=bend.direction,
                    bend_radius_mm=self.radius if bend.radius_mm is None else bend.radius_mm,
                )
            )
        return tuple(found), names

    def part(self) -> Part:
        entities, _ = self.entities()
        points = [self.placed(x) for x in self.outline()]
        xs, ys = [x for x, _ in points], [y for _, y in points]
        size = (max(xs) - min(xs), max(ys) - min(ys), 0.0)
        units = Units("mm", True, "the generator's")
        return Part("bracket.dxf", "0" * 64, "DXF", "sheet", units, size, sheet=Sheet(entities, 0.01))

    def choices(self) -> Choices:
        return Choices(
            process="sheet",
            material=self.material,
            thickness_mm=self.t,
            threads=tuple(ThreadChoice(x, self.placed(self.holes[i].centre)) for x, i in self.tapped),
            countersinks=tuple(CountersinkChoice(x, self.placed(self.holes[i].centre)) for x, i in self.sunk),
        )


def good(seed: int) -> Bracket:
    """Return a bracket that breaks no rule."""
    pick = random.Random(seed)
    t = pick.choice([2.0, 2.5, 3.0])
    radius = round(1.5 * t + pick.uniform(0.1, 1.0), 2)
    width, length = pick.uniform(90, 200), pick.uniform(170, 300)
    # Six thicknesses of V-die give 4.24 t outside; beyond the safe places of holes, too.
    first, second = pick.uniform(24, 40), pick.uniform(24, 40)
    middle = length / 2
    low, high = middle - pick.uniform(15, 25), middle + pick.uniform(15, 25)
    made = Bracket(
        t=t,
        radius=radius,
        width=width,
        length=length,
        first=first,
        second=second,
        tab=(low, high),
        tab_deep=pick.uniform(20, 40),
        relief_wide=t + pick.uniform(0.1, 1.0),
        relief_deep=radius + t + pick.uniform(0.1, 1.0),
        turn_deg=pick.choice([0.0, 90.0, 180.0, pick.uniform(0, 360)]),
        shift=(pick.uniform(-500, 500), pick.uniform(-500, 500)),
    )
    directions: list[Direction] = [pick.choice(["up", "down"]) for _ in range(3)]
    made.bends = [
        BendLine((0.0, first), (width, first), direction=directions[0]),
        BendLine((width, length - second), (0.0, length - second), direction=directions[1]),
        BendLine((width, low), (width, high), direction=directions[2]),
    ]
    m4, m3 = thread("M4"), countersink("M3")
    made.holes = [
        Hole((width * pick.uniform(0.25, 0.35), middle + pick.uniform(-20, 20)), pick.uniform(4, 12)),
        Hole((width * pick.uniform(0.55, 0.65), middle + pick.uniform(-20, 20)), pick.uniform(4, 12)),
        # In the second flange: tapped, in its outer part.
        Hole((width * pick.uniform(0.2, 0.4), length - 7.0), m4.tap_drill.value if t > 2.1 else 2.5),
        Hole((width * 0.45, middle + pick.uniform(25, 30)), m3.screw_mm + 0.4),
    ]
    made.tapped = [("M4" if t > 2.1 else "M3", 2)]
    made.sunk = [("M3", 3)]
    return made


Plant = Callable[[Bracket, random.Random], tuple[Bracket, Expected]]


def no_relief(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    return replace(b, left_relief=False), Expected((b.width, b.tab[0]), 0.5, "bend 2")


def relief_too_narrow(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    wide = b.t * pick.uniform(0.2, 0.9)
    return replace(b, relief_wide=wide), Expected((b.width, b.tab[1] + wide / 2), 0.5, "bend 2", count=2)


def relief_too_shallow(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    deep = b.half * pick.uniform(0.3, 0.9)
    return replace(b, relief_deep=deep), Expected((b.width - deep / 2, b.tab[1]), 0.5, "bend 2", count=2)


def hole_near_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    radius = b.holes[0].diameter_mm / 2
    side = pick.choice([1.0, -1.0]) if b.first > b.half + 2 * radius + 4 * b.t else 1.0
    gap = b.t * pick.uniform(0.1, 1.9)
    y = b.first + side * (b.half + gap + radius)
    holes = [Hole((b.holes[0].centre[0], y), 2 * radius), *b.holes[1:]]
    return replace(b, holes=holes), Expected((holes[0].centre[0], b.first + side * (b.half + gap / 2)), 0.5, "hole 0")


def hole_in_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    x = b.holes[0].centre[0]
    y = b.first + pick.uniform(-0.5, 0.5) * b.half
    holes = [Hole((x, y), min(b.holes[0].diameter_mm, 3 * b.t)), *b.holes[1:]]
    return replace(b, holes=holes), Expected((x, y), holes[0].diameter_mm, "hole 0")


def edge_near_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    gap = b.t * pick.uniform(0.2, 1.8)
    across = pick.uniform(3, 20)
    x = b.width * 0.4
    down = b.first - b.half - gap
    return replace(b, notch=(x, across, down)), Expected((x + across / 2, down + gap / 2), across, "bend 0")


def flange_too_short(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    # Outside leg = flat + setback - half allowance.
    outside = b.t * pick.uniform(2.9, 4.1)
    flat = max(outside - (b.radius + b.t) + b.half, b.half + 0.3)
    bends = [BendLine((0.0, flat), (b.width, flat), direction="up"), *b.bends[1:]]
    return replace(b, first=flat, bends=bends), Expected((b.width / 2, flat / 2), b.width, "bend 0")


def radius_too_tight(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    bends = list(b.bends)
    bends[0] = replace(bends[0], radius_mm=b.t * pick.uniform(0.1, 1.4))
    return replace(b, bends=bends), Expected((b.width / 2, b.first), 1.0, "bend 0")


def bend_not_across(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    missing = pick.uniform(4.0, 40.0)
    bends = list(b.bends)
    bends[0] = replace(bends[0], end=(b.width - missing, b.first))
    return replace(b, bends=bends), Expected((b.width - missing / 2, b.first), 0.5, "bend 0")


def bends_cross(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    # A single hole is left, well away from the new line.
    x = b.width * 0.8
    bends = [*b.bends[:2], BendLine((x, 0.0), (x, b.length))]
    made = replace(b, bends=bends, tab_deep=0.001, left_relief=False)
    made = replace(made, relief_deep=0.001, relief_wide=0.001)
    return made, Expected((x, b.first), 0.5, "bend 0", count=2)


def bends_too_close(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    apart = b.half + b.t * pick.uniform(1.8, 2.9)
    y = b.first + apart
    bends = [*b.bends, BendLine((0.0, y), (b.width, y), direction="down")]
    # Where the die has no room, no order helps.
    also = ("bend/order-impossible",)
    return replace(b, bends=bends), Expected((b.width / 2, b.first + apart / 2), 1.0, "bend 3", also=also)


def bend_too_long(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    wide = pick.uniform(3001.0, 4000.0)
    bends = [replace(b.bends[0], end=(wide, b.first)), replace(b.bends[1], start=(wide, b.length - b.second))]
    bends.append(replace(b.bends[2], start=(wide, b.tab[0]), end=(wide, b.tab[1])))
    return replace(b, width=wide, bends=bends), Expected((wide / 2, b.first), 1.0, "bend 0", count=2)


def _bend_0(b: Bracket, **changed: object) -> Bracket:
    return replace(b, bends=[replace(b.bends[0], **changed), *b.bends[1:]])  # type: ignore[arg-type]


def angle_out_of_range(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    # Nothing else about the bend may go wrong for it, so the flange is made long.
    made = _bend_0(b, angle_deg=pick.choice([155.0, 170.0, 200.0]))
    also = ("bend/flange-too-short", "bend/hole-near-bend", "bend/bends-too-close")
    return made, Expected((b.width / 2, b.first), 1.0, "bend 0", also=also)


def direction_missing(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    return _bend_0(b, direction=None), Expected((b.width / 2, b.first), 1.0, "bend 0")


def angle_missing(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    return _bend_0(b, angle_deg=None), Expected((b.width / 2, b.first), 1.0, "bend 0")


def unbendable_material(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    made = replace(b, material=pick.choice(["birch-plywood", "g10", "acrylic", "carbon-plate", "pom"]))
    also = ("thread/soft-material", "thread/engagement-too-short")
    # All bends are at fault; which of them is shown is the rule's own choice.
    return made, Expected((b.width / 2, b.first), 1000.0, ("bend 0", "bend 1", "bend 2"), also=also)


def sharp_modelled_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    made = _bend_0(b, radius_mm=pick.choice([0.0, 0.01]))
    return made, Expected((b.width / 2, b.first), 1.0, "bend 0", also=("bend/radius-too-tight",))


def _tapped(b: Bracket, said: str, centre: Point2 | None = None, diameter: float | None = None) -> Bracket:
    row = thread(said)
    hole = Hole(centre or b.holes[2].centre, row.tap_drill.value if diameter is None else diameter)
    return replace(b, holes=[*b.holes[:2], hole, *b.holes[3:]], tapped=[(said, 2)])


def pilot_hole_wrong(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    said = b.tapped[0][0]
    row = thread(said)
    diameter = pick.choice([row.diameter_mm, row.tap_drill.value - 0.4, row.tap_drill.value + 0.35])
    return _tapped(b, said, diameter=diameter), Expected(b.holes[2].centre, 0.01, "hole 2")


def engagement_too_short(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    # Three pitches of M8 are 3.75 mm; the hole stands in the middle, with room around it.
    at = (b.width * 0.45, b.length / 2)
    made = _tapped(b, "M8", centre=at)
    aside = [Hole((x.centre[0], at[1] - 18.0), 4.0) for x in b.holes[:2]]
    return replace(made, holes=[*aside, *made.holes[2:]]), Expected(at, 0.01, "hole 2")


def thread_near_edge(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    said = b.tapped[0][0]
    near = thread(said).diameter_mm * pick.uniform(0.8, 1.4)
    at = (b.holes[2].centre[0], b.length - near)
    return _tapped(b, said, centre=at), Expected(at, 0.01, "hole 2")


def thread_near_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    said = b.tapped[0][0]
    gap = b.t * pick.uniform(0.2, 2.3)
    y = b.length - b.second + b.half + gap + thread(said).diameter_mm / 2
    at = (b.holes[2].centre[0], y)
    return _tapped(b, said, centre=at), Expected(at, 0.01, "hole 2")


def unknown_thread(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    said = pick.choice(["M4.5", "M6x0.9", "1/4-21", "quarter inch"])
    return replace(b, tapped=[(said, 2)]), Expected(b.holes[2].centre, 0.01, "hole 2")


def soft_material(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    made = replace(b, material=pick.choice(["birch-plywood", "acrylic", "g10", "felt"]))
    also = ("bend/unbendable-material", "thread/engagement-too-short")
    return made, Expected(b.holes[2].centre, 0.01, "hole 2", also=also)


def _sunk(b: Bracket, said: str, centre: Point2 | None = None) -> Bracket:
    row = countersink(said)
    hole = Hole(centre or b.holes[3].centre, row.screw_mm * 1.1)
    return replace(b, holes=[*b.holes[:3], hole], sunk=[(said, 3)])


def deeper_than_sheet(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    made = _sunk(b, "M8")
    return made, Expected(b.holes[3].centre, 0.01, "hole 3")


def countersink_near_edge(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    at = (countersink("M3").head_mm / 2 + b.t * pick.uniform(0.1, 0.9), b.length / 2 + 27.0)
    return _sunk(b, "M3", centre=at), Expected(at, 0.01, "hole 3")


def countersink_near_bend(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    gap = b.t * pick.uniform(0.1, 1.9)
    at = (b.width * 0.45, b.first + b.half + gap + countersink("M3").head_mm / 2)
    return _sunk(b, "M3", centre=at), Expected(at, 0.01, "hole 3")


def unknown_screw(b: Bracket, pick: random.Random) -> tuple[Bracket, Expected]:
    return replace(b, sunk=[("M33", 3)]), Expected(b.holes[3].centre, 0.01, "hole 3")


PLANTS: dict[str, tuple[Plant, ...]] = {
    "bend/no-relief": (no_relief,),
    "bend/relief-too-narrow": (relief_too_narrow,),
    "bend/relief-too-shallow": (relief_too_shallow,),
    "bend/hole-near-bend": (hole_near_bend, hole_in_bend),
    "bend/edge-near-bend": (edge_near_bend,),
    "bend/flange-too-short": (flange_too_short,),
    "bend/radius-too-tight": (radius_too_tight,),
    "bend/bend-not-across": (bend_not_across,),
    "bend/bends-cross": (bends_cross,),
    "bend/bends-too-close": (bends_too_close,),
    "bend/bend-too-long": (bend_too_long,),
    "bend/angle-out-of-range": (angle_out_of_range,),
    "bend/direction-missing": (direction_missing,),
    "bend/angle-missing": (angle_missing,),
    "bend/unbendable-material": (unbendable_material,),
    "bend/sharp-modelled-bend": (sharp_modelled_bend,),
    "thread/pilot-hole-wrong": (pilot_hole_wrong,),
    "thread/engagement-too-short": (engagement_too_short,),
    "thread/near-edge": (thread_near_edge,),
    "thread/near-bend": (thread_near_bend,),
    "thread/unknown-thread": (unknown_thread,),
    "thread/soft-material": (soft_material,),
    "countersink/deeper-than-sheet": (deeper_than_sheet,),
    "countersink/near-edge": (countersink_near_edge,),
    "countersink/near-bend": (countersink_near_bend,),
    "countersink/unknown-screw": (unknown_screw,),
}
