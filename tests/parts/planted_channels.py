"""Strips bent across: channels with and without returns, for rules about the folded part as a whole.

The flat comes from the outside sizes by the handbook's formulas, so that the finished size is known
without folding anything.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lintsvc.handbook.bending import bend_allowance, outside_setback
from lintsvc.model.choices import Choices
from lintsvc.model.part import Part
from lintsvc.model.sheet import Direction, Entity, Line, Point2, Sheet
from lintsvc.model.units import Units

#: 0.64 T + 1.57 R at 90°: Machinery's Handbook, 31st ed., p. 1421, eq. 33, for aluminium.
K = 0.64 / (math.pi / 2)


@dataclass(frozen=True)
class Channel:
    """A strip with bends of 90°. `outside`: sizes between outer faces, one more than directions."""

    t: float
    radius: float
    width: float
    outside: tuple[float, ...]
    directions: tuple[Direction, ...]
    #: What is stated as the finished size; None: nothing.
    meant: tuple[float, float, float] | None = None
    #: The flat is drawn at the sum of the outside sizes, as if bends took up nothing.
    without_deduction: bool = False
    turn_deg: float = 0.0

    @property
    def grow(self) -> float:
        """How much longer a leg is outside than its flat up to the bend line."""
        return outside_setback(90, self.radius, self.t) - bend_allowance(90, self.radius, self.t, K) / 2

    def lines(self) -> list[float]:
        """Return where the flat starts, is bent and ends, along its length."""
        at = [0.0]
        for i, size in enumerate(self.outside):
            bends = (i > 0) + (i < len(self.outside) - 1)
            at.append(at[-1] + size - (0.0 if self.without_deduction else bends * self.grow))
        return at

    def placed(self, x: float, y: float) -> Point2:
        c, s = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return (x * c - y * s, x * s + y * c)

    def part(self) -> Part:
        at = self.lines()
        corners = [(0.0, 0.0), (at[-1], 0.0), (at[-1], self.width), (0.0, self.width)]
        drawn = [self.placed(*x) for x in corners]
        entities = [
            Entity(i, f"#{i}", "line", "CUT", (Line(a, b),))
            for i, (a, b) in enumerate(zip(drawn, [*drawn[1:], drawn[0]], strict=True))
        ]
        for x, direction in zip(at[1:-1], self.directions, strict=True):
            line = Line(self.placed(x, 0.0), self.placed(x, self.width))
            number = len(entities)
            entities.append(
                Entity(
                    number,
                    f"#{number}",
                    "line",
                    "BEND",
                    (line,),
                    role="bend",
                    bend_angle_deg=90.0,
                    bend_direction=direction,
                    bend_radius_mm=self.radius,
                )
            )
        units, size = Units("mm", True, "the generator's"), (at[-1], self.width, 0.0)
        return Part("channel.dxf", "0" * 64, "DXF", "sheet", units, size, sheet=Sheet(tuple(entities), 0.01))

    def choices(self) -> Choices:
        return Choices(process="sheet", material="aluminium-5052-h32", thickness_mm=self.t, finished_size_mm=self.meant)


def _up(count: int) -> tuple[Direction, ...]:
    return ("up",) * count


def _sheet(pick: random.Random) -> tuple[float, float, float, float]:
    t = pick.choice([1.5, 2.0, 2.5, 3.0])
    return t, round(1.5 * t + pick.uniform(0.1, 1.0), 2), pick.uniform(40, 150), pick.uniform(0, 360)


def good(seed: int) -> Channel:
    """A channel wider than it is deep, with its true finished size stated."""
    pick = random.Random(seed)
    t, radius, width, turn = _sheet(pick)
    base, leg, other = pick.uniform(80, 150), pick.uniform(20, 35), pick.uniform(20, 35)
    meant = (base, width, max(leg, other))
    return Channel(t, radius, width, (leg, base, other), _up(2), meant, turn_deg=turn)


def good_with_returns(seed: int) -> Channel:
    """A channel whose returns leave a gap between them that a punch fits through."""
    pick = random.Random(seed)
    made = good(seed)
    back = pick.uniform(17, 20)
    # The return of the leg that is bent rises beside the punch: (leg − t − return) / √2 from its middle.
    base, leg = pick.uniform(110, 150), pick.uniform(33, 37)
    return replace(made, outside=(back, leg, base, leg, back), directions=_up(4), meant=(base, made.width, leg))


def returns_collide(seed: int) -> Channel:
    """Returns of one height that reach past each other."""
    pick = random.Random(seed)
    made = good(seed)
    base = pick.uniform(60, 90)
    back = base / 2 + pick.uniform(0.2, 10)
    leg = pick.uniform(60, 80)
    return replace(made, outside=(back, leg, base, leg, back), directions=_up(4), meant=None)


def too_deep(seed: int) -> Channel:
    """A channel much deeper than it is wide: the leg that is up is in the way of the punch."""
    pick = random.Random(seed)
    made = good(seed)
    base = pick.uniform(25, 35)
    leg = base * pick.uniform(2.2, 3.0)
    return replace(made, outside=(leg, base, leg), meant=None)


def deduction_forgotten(seed: int) -> Channel:
    """A flat drawn at the sum of the outside sizes. It is narrower than its base: sizes are held in order of size."""
    made = good(seed)
    assert made.meant is not None
    width = 40 + made.width / 5
    return replace(made, width=width, meant=(made.meant[0], width, made.meant[2]), without_deduction=True)


def sizes(channel: Channel) -> Sequence[float]:
    """Stated sizes, largest first."""
    return sorted(channel.meant or (), reverse=True)
