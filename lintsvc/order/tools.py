"""Does a tool with an arm reach a screw or a nut: is it free about the axis, and how far does its arm swing."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lintsvc.order.frames import Floats
from lintsvc.order.free_room import Area, areas, free_across
from lintsvc.order.tool_sizes import Tool

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: Ways out are looked at by these steps: a swing is told up to two of them too small, never too large.
_STEP_DEG = 1


@dataclass(frozen=True, slots=True)
class InTheWay:
    """What is nearest in the way on one side."""

    towards: str
    far_mm: float
    who: str


@dataclass(frozen=True, eq=False)
class Reach:
    """What came of one tool. `column_mm`: how wide it is free about the axis; None where the tool has room there."""

    tool: Tool
    column_mm: float | None
    #: How far its arm swings at most; None where there is no way out for it.
    swing_deg: float | None
    in_the_way: tuple[InTheWay, ...]

    @property
    def holds(self) -> bool:
        """It can be put on, in one way at least."""
        return self.column_mm is None and self.swing_deg is not None

    @property
    def turns(self) -> bool:
        """It can be put on, turned, and put on anew."""
        return self.holds and (self.swing_deg or 0.0) >= self.tool.swing_deg - 1e-6

    def words(self) -> str:
        """Return what was tried and what is in the way."""
        there = ", ".join(
            f"{x.who} on the axis" if x.far_mm <= 0 else f"{x.who} {x.far_mm:.3g} mm from the axis towards {x.towards}"
            for x in self.in_the_way
        )
        tool = self.tool
        if self.column_mm is not None:
            high = tool.column_heights[1] - tool.column_heights[0]
            return f"{tool.name} needs {tool.column_mm:.3g} mm across over {high:.3g} mm above; in the way: {there}"
        swings = "in no direction" if self.swing_deg is None else f"over {self.swing_deg:g}°"
        return (
            f"the arm of {tool.name} has to be free for {tool.long_mm:.3g} mm over {tool.swing_deg:g}° and is so "
            f"{swings}; in the way: {there}"
        )


def reach_of(order: CheckedOrder, own: str, frame: Floats, ways: Floats, tool: Tool, pair: Collection[str]) -> Reach:
    """Return what comes of a tool on an axis, with only the two sides of a relation there.

    `frame`: of the axis in the assembly, `ways`: its turn (3 × 3) in the frame of the thing that it is of, by which
    directions are named.
    """
    if tool.column_mm:
        column = areas(order, own, frame, tool.column_mm / 2 + 0.5, tool.column_heights, pair)
        wide, who, angle = free_across(column, tool.column_mm)
        if wide is not None:
            return Reach(tool, wide, None, (InTheWay(_towards(ways, angle), wide / 2, who),))
    # The sides of what is looked at have to lie beyond the arm's end.
    found = areas(order, own, frame, tool.long_mm + tool.arm_mm, tool.heights, pair)
    angles = np.arange(0.0, 360.0, _STEP_DEG)
    free = np.array([all(_clear(x, tool, y) for x in found) for y in angles.tolist()], bool)
    return Reach(tool, None, _swing(free), () if free.all() else _sides(found, ways, tool.long_mm))


def _clear(area: Area, tool: Tool, angle_deg: float) -> bool:
    """Return whether an area is clear of a tool whose arm points this way."""
    if area.along(angle_deg, tool.arm_mm) < tool.long_mm:
        return False
    return not tool.jaw_mm or area.beside_jaw(angle_deg, tool.front_mm, tool.mouth_mm) >= tool.jaw_mm / 2 - 1e-6


def _sides(found: Collection[Area], ways: Floats, long_mm: float) -> tuple[InTheWay, ...]:
    """Return what is nearest in each quarter about the axis within an arm's length."""
    sides: dict[tuple[float, str], list[str]] = {}
    for angle in (0.0, 90.0, 180.0, 270.0):
        far, who = min((x.in_quarter(angle), x.id) for x in found)
        if far < long_mm:
            sides.setdefault((round(far, 2), who), []).append(_towards(ways, angle))
    return tuple(InTheWay(", ".join(names), far, who) for (far, who), names in sorted(sides.items()))


def _swing(free: NDArray[np.bool_]) -> float | None:
    """Return over how many degrees ways in a row are free; None where none is."""
    if free.all():
        return 360.0
    if not free.any():
        return None
    # Started behind one that is barred, no run goes over the end.
    runs = "".join("x" if x else " " for x in np.roll(free, -int((~free).argmax()))).split()
    return float((max(len(x) for x in runs) - 1) * _STEP_DEG)


def _towards(ways: Floats, angle_deg: float) -> str:
    """Return a way across the axis by the nearest axis of the thing, or by two of them where it lies between."""
    way = ways @ np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg)), 0.0])
    named = [f"{'+' if x > 0 else '-'}{axis}" for axis, x in zip("xyz", way.tolist(), strict=True) if abs(x) > 0.383]
    return " ".join(named)
