"""Two bends of one flat: lines that cross, and zones that leave too little sheet between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from lintsvc.measure.bend_frame import Floats, Frame
from lintsvc.measure.bend_zones import BESIDE_MM, BendZone
from lintsvc.model.sheet import Point2

#: Lines within this angle of each other count as side by side.
_PARALLEL_DEG = 5.0


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two bend lines that cross, by their places in the flat's bends."""

    bends: tuple[int, int]
    at: Point2


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Two bends side by side. `gap_mm`: from the line of one to where the other's zone begins, the shorter way."""

    bends: tuple[int, int]
    apart_mm: float
    gap_mm: float
    span: tuple[Point2, Point2]


def crossings(zones: Sequence[BendZone]) -> tuple[Crossing, ...]:
    """Return pairs of bends whose lines cross away from their ends."""
    found = []
    for one, other in combinations(zones, 2):
        (x1, y1), (x2, y2) = (one.frame.here(other.frame.back(x, 0.0)) for x in other.extent)
        if y1 * y2 >= 0 or min(abs(y1), abs(y2)) <= BESIDE_MM:
            continue
        x = x1 + (x2 - x1) * y1 / (y1 - y2)
        low, high = one.extent
        if low + BESIDE_MM < x < high - BESIDE_MM:
            found.append(Crossing((one.number, other.number), one.frame.back(x, 0.0)))
    return tuple(found)


def side_by_side(zones: Sequence[BendZone], edges: Floats, within_mm: float) -> tuple[SideBySide, ...]:
    """Return pairs of bends that run side by side along some length with a gap below the one given, closest first.

    Only neighbours with sheet between them all the way count, not flanges across a cutout; `edges` (m, 4)
    are the sheet's.
    """
    found = []
    for one, other in combinations(zones, 2):
        (x1, y1), (x2, y2) = (one.frame.here(other.frame.back(x, 0.0)) for x in other.extent)
        if abs(y2 - y1) > math.tan(math.radians(_PARALLEL_DEG)) * abs(x2 - x1):
            continue
        low, high = max(one.extent[0], min(x1, x2)), min(one.extent[1], max(x1, x2))
        apart = abs(y1 + y2) / 2
        if high - low <= BESIDE_MM or apart <= BESIDE_MM:
            continue
        middle, y = (low + high) / 2, (y1 + y2) / 2
        gap = max(0.0, apart - max(one.half_mm, other.half_mm))
        if gap >= within_mm or not _sheet_between(Frame.of(edges, one.bend.start, one.bend.end), one, middle, y):
            continue
        span = (one.frame.back(middle, 0.0), one.frame.back(middle, y))
        found.append(SideBySide((one.number, other.number), apart, gap, span))
    return tuple(sorted(found, key=lambda x: x.gap_mm))


def _sheet_between(frame: Frame, zone: BendZone, x: float, y: float) -> bool:
    # Slightly beside the middle: a hole's exact centre would be the commonest place to hit.
    return any(
        low <= min(0.0, y) + BESIDE_MM and high >= max(0.0, y) - BESIDE_MM
        for shift in (0.0, 0.37, -0.41)
        for low, high in frame.column(x + shift * zone.thickness_mm)
    )
