"""The strip of sheet that a bend takes up, and where along its line the sheet is bent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lintsvc.handbook.bending import bend_allowance
from lintsvc.measure.bend_frame import Floats, Frame, Span, common
from lintsvc.measure.fold_flat import with_k
from lintsvc.measure.fold_zones import reaches_within_mm
from lintsvc.model.material import Material
from lintsvc.model.sheet import Bend, Point2

#: Sheet is looked for this far to both sides of a bend line: drawn edges meet lines only so well.
BESIDE_MM = 0.05
#: Reliefs are looked at this far past what they should reach.
MARGIN_MM = 0.5
#: Taken where nothing is said, and told: the commonest bend; an inside radius of one thickness.
USUAL_ANGLE_DEG = 90.0


@dataclass(frozen=True, slots=True)
class Short:
    """An end of a bend line that stops inside the sheet: `end` on the line, `edge` where the sheet ends."""

    end: Point2
    edge: Point2
    missing_mm: float


@dataclass(frozen=True, eq=False)
class BendZone:
    """One bend of a flat. In `frame`, x runs along the bend line and the zone is |y| <= half_mm.

    The frame has only the edges that come near to the zone.
    """

    #: Place in the flat's bends.
    number: int
    bend: Bend
    frame: Frame
    length_mm: float
    thickness_mm: float
    #: How far to each side of the line the frame has edges: past the zone, and past what a relief should reach.
    reach_mm: float
    angle_deg: float
    radius_mm: float
    k: float
    #: Which of angle and radius nobody said.
    assumed: tuple[str, ...]
    #: Where along the line there is sheet on both sides: what is bent.
    runs: tuple[Span, ...]
    short: tuple[Short, ...]

    @property
    def half_mm(self) -> float:
        """From the bend line to where the sheet is straight again: half the bend allowance."""
        return bend_allowance(self.angle_deg, self.radius_mm, self.thickness_mm, self.k) / 2

    @property
    def extent(self) -> Span:
        """From the first bent point along the line to the last."""
        return (self.runs[0][0], self.runs[-1][1]) if self.runs else (0.0, self.length_mm)

    @property
    def middle(self) -> Point2:
        """The middle of the bend line, in the flat."""
        return self.frame.back(sum(self.extent) / 2, 0.0)

    @property
    def sure(self) -> float:
        """How sure a measurement is that hangs on the zone's width."""
        return 0.6 if self.assumed else 1.0

    def box(self) -> tuple[Point2, Point2]:
        """Return the corners of the bend zone's bounding box in the flat."""
        first, last = self.extent
        corners = [self.frame.back(x, y) for x in (first, last) for y in (-self.half_mm, self.half_mm)]
        xs, ys = [p[0] for p in corners], [p[1] for p in corners]
        return (min(xs), min(ys)), (max(xs), max(ys))


def bend_zones(
    bends: Sequence[Bend], edges: Floats, thickness_mm: float, material: Material | None
) -> tuple[BendZone, ...]:
    """Return the zones of bends, in their order; lines of no length are left out.

    `edges` (m, 4): the sheet's straight edges. Unknown angles and radii are taken as usual, and named.
    """
    found = []
    for number, bend in enumerate(bends):
        length = math.dist(bend.start, bend.end)
        if length <= 2 * BESIDE_MM:
            continue
        assumed = tuple(x for x, y in (("angle", bend.angle_deg), ("inside radius", bend.radius_mm)) if y is None)
        radius = thickness_mm if bend.radius_mm is None else bend.radius_mm
        frame = Frame.of(edges, bend.start, bend.end)
        runs, short = _runs(frame, length, thickness_mm)
        k = with_k(replace(bend, radius_mm=radius), thickness_mm, material).k_factor or 0.0
        angle = USUAL_ANGLE_DEG if bend.angle_deg is None else bend.angle_deg
        reach = max(bend_allowance(angle, radius, thickness_mm, k) / 2, radius + thickness_mm) + MARGIN_MM
        found.append(
            BendZone(
                number=number,
                bend=bend,
                frame=frame.near_row(reach + BESIDE_MM),
                reach_mm=reach,
                length_mm=length,
                thickness_mm=thickness_mm,
                angle_deg=angle,
                radius_mm=radius,
                k=k,
                assumed=assumed,
                runs=runs,
                short=short,
            )
        )
    return tuple(found)


def _runs(frame: Frame, length_mm: float, thickness_mm: float) -> tuple[tuple[Span, ...], tuple[Short, ...]]:
    """Return where the sheet is bent, and the ends of the drawn line that stop inside the sheet."""
    near = frame.near_row(BESIDE_MM)
    both = common(near.row(BESIDE_MM), near.row(-BESIDE_MM))
    tolerance = reaches_within_mm(thickness_mm)
    runs: list[Span] = []
    short: list[Short] = []
    for low, high in both:
        if min(high, length_mm) - max(low, 0.0) <= BESIDE_MM:
            continue
        first, last = low, high
        if -low > tolerance:
            first = 0.0
            short.append(Short(frame.back(0.0, 0.0), frame.back(low, 0.0), -low))
        if high - length_mm > tolerance:
            last = length_mm
            short.append(Short(frame.back(length_mm, 0.0), frame.back(high, 0.0), high - length_mm))
        runs.append((first, last))
    return tuple(runs), tuple(short)
