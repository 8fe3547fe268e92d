"""A place of a body that is too thin or too narrow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.bars import Bar
from lintsvc.measure.mesh import Floats, Ints, point3
from lintsvc.model.finding import Where

#: A place may be low where most of it has a rim or a floor about as near as its other side.
RIM = 1.25
LOW = 0.75
#: The sides of a straight place are parallel over this share of it, to within three degrees.
PARALLEL = -np.cos(np.radians(3.0))
STRAIGHT = 0.7
#: One side of a place is at least so many squared limits large.
SLIGHT = 0.2
#: What is no longer than this share of the limit is a speck, whatever its sides do.
_SPECK = 0.2
#: A pin or a hole is longer than this share of the limit.
_BUMP = 0.5
#: A bar higher than so many times its width is no mere detail.
AS_HIGH = 1.1


@dataclass(frozen=True, eq=False)
class Place:
    """One place that is too narrow, both of its sides together.

    `width_mm`: the least width. `span`: the two ends of that measure. `chord_mm`: how far off the
    facets of a curve may be there. `round`: about as wide across as thick: a pin, a post, a round
    hole. `length_mm`: the place's longest extent, `breadth_mm` the next. `area_mm2`: of one side.
    `low`: a raised or sunk detail no deeper than wide, no wall, no gap. `across_mm`: the usual width at right
    angles to the measure, where that is small.
    """

    width_mm: float
    span: tuple[Floats, Floats]
    chord_mm: float
    round: bool
    length_mm: float
    breadth_mm: float
    #: The longest extent of the points alone: it is at least so long.
    surely_mm: float
    #: How long a pin or a hole of one section is, along its axis; 0 for other places.
    long_mm: float
    axis: Floats
    area_mm2: float
    low: bool
    across_mm: float
    faces: Ints
    #: Its width and the width across keep the same proportion all along.
    one_section: bool
    #: The share of it whose two sides are parallel.
    parallel_share: float
    #: The solids that its two sides bound.
    solids: tuple[int, int]
    #: It lies in a closed void.
    in_void: bool
    #: Its least width is the least all around, not the end of something that goes on narrowing.
    neck: bool
    box: tuple[Floats, Floats]
    #: What it is thin as, where that is a bar, and how much of the bar's length is thinner than the limit.
    bar: Bar | None = None
    high_mm: float = 0.0

    @property
    def slender(self) -> bool:
        """A pin or a hole that is longer than wide and of one section: no dimple, no tip of a plate."""
        if self.bar is not None:
            return self.round and self.long_mm > 1.5 * self.across_mm
        surely = self.one_section and self.surely_mm > 1.5 * self.across_mm
        return self.round and (surely or self.long_mm > 1.5 * self.across_mm)

    @property
    def reach_mm(self) -> float:
        """How far it goes: that of a bar is known whole."""
        return self.length_mm if self.bar is None else self.bar.length

    @property
    def stub(self) -> bool:
        """A bar of one section that stands out farther than it is thick, but not far enough for a pin."""
        if not self.round or self.slender:
            return False
        if self.bar is not None:
            return self.high_mm > AS_HIGH * self.width_mm
        return self.one_section and self.parallel_share > STRAIGHT and self.long_mm > AS_HIGH * self.width_mm

    @property
    def straight(self) -> bool:
        """Between parallel sides, and longer than three widths: a slot, or a stroke of a letter."""
        return self.parallel_share > STRAIGHT and self.length_mm > 3 * self.width_mm

    @property
    def between_bodies(self) -> bool:
        """Its two sides are two bodies."""
        return self.solids[0] != self.solids[1]

    def slight(self, limit_mm: float) -> bool:
        """So small a place that it is the tip of something else, or noise of the facets."""
        if self.neck and self.width_mm > 2 * self.chord_mm and self.length_mm > _SPECK * limit_mm:
            return False
        if self.bar is not None:
            return self.bar.length <= _SPECK * limit_mm
        if self.long_mm > max(1.5 * self.across_mm, _BUMP * limit_mm):
            return False
        return self.area_mm2 < SLIGHT * limit_mm**2 and self.surely_mm < limit_mm + self.width_mm

    def words(self) -> dict[str, object]:
        """Words for messages."""
        chord = f", within {self.chord_mm:.2g} mm for its coarse facets" if self.chord_mm > 0.02 * self.width_mm else ""
        return {"length": round(self.length_mm, 1), "breadth": round(self.breadth_mm, 1), "facets": chord}

    def sure(self) -> float:
        """How sure the width is: less where coarse facets stand for a curve."""
        return float(max(0.5, 1.0 - self.chord_mm / self.width_mm)) if self.width_mm > 0 else 0.5

    def where(self) -> Where:
        """The place as a finding shows it."""
        a, b = point3(self.span[0]), point3(self.span[1])
        return Where(
            point=point3((self.span[0] + self.span[1]) / 2),
            box=(point3(self.box[0]), point3(self.box[1])),
            faces=tuple(self.faces.tolist()),
            span=(a, b),
        )


class Places(list[Place]):
    """Places, thinnest first. `left_out`: how many more there are than are told one by one. `crossed`: how many
    there would be where the surface crosses itself, and nobody can say what is material."""

    left_out: int = 0
    crossed: int = 0
