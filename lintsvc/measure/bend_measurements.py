"""All that is measured about the bends of one flat, each thing once, on first use."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from lintsvc.measure.bend_ends import BendEnd, bend_ends
from lintsvc.measure.bend_frame import Floats, edges_of
from lintsvc.measure.bend_pairs import Crossing, SideBySide, crossings, side_by_side
from lintsvc.measure.bend_sides import Flange, Near, cutouts_near, edges_near, flanges
from lintsvc.measure.bend_zones import BendZone, bend_zones
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where
from lintsvc.model.material import Material
from lintsvc.model.sheet import Bend, Point2

if TYPE_CHECKING:
    from lintsvc.measure.flat_contours import Contour
    from lintsvc.measure.meant_sheet import MeantSheet


class BendMeasurements:
    """Bends of a flat in sheet of a known thickness. Lengths mm.

    A bend without a stated angle or radius is measured with the usual ones (90°, one thickness), and
    its zone says so.
    """

    def __init__(
        self,
        bends: Sequence[Bend],
        sheet: MeantSheet,
        thickness_mm: float,
        material: Material | None,
    ) -> None:
        self.bends = tuple(bends)
        self.sheet = sheet
        self.thickness_mm = thickness_mm
        self.material = material

    @cached_property
    def _edges(self) -> Floats:
        return edges_of(self.sheet.rings)

    @cached_property
    def zones(self) -> tuple[BendZone, ...]:
        """The strips that the bends take up, in the order of the flat's bends."""
        return bend_zones(self.bends, self._edges, self.thickness_mm, self.material)

    @cached_property
    def outline(self) -> Floats:
        """(m, 4) edges of what is sheet with no cutouts in it."""
        return edges_of(self.sheet.outlines)

    @cached_property
    def crossings(self) -> tuple[Crossing, ...]:
        """Bend lines that cross."""
        return crossings(self.zones)

    def side_by_side(self, limit_mm: float) -> tuple[SideBySide, ...]:
        """Bends beside each other with less than the limit between them, closest first."""
        return side_by_side(self.zones, self._edges, limit_mm)

    @cached_property
    def ends(self) -> tuple[tuple[BendZone, BendEnd], ...]:
        """The ends of every bend with what is cut beside them, looked at as far as a relief should reach."""
        polygons = [x.polygon for x in self.sheet.cutouts]
        return tuple((zone, end) for zone in self.zones for end in bend_ends(zone, polygons))

    @cached_property
    def flanges(self) -> tuple[tuple[BendZone, Flange], ...]:
        """Every flange that ends in a free edge."""
        return tuple((zone, x) for zone in self.zones for x in flanges(zone, self.outline, self.zones))

    def edges_near(self, limit_mm: float) -> tuple[tuple[BendZone, Near], ...]:
        """Places where the outer contour comes within the limit of a bend zone."""
        return tuple((zone, x) for zone in self.zones for x in edges_near(zone, self.outline, limit_mm))

    def cutouts_near(self, limit_mm: float) -> tuple[tuple[BendZone, Near, Contour], ...]:
        """Cutouts that come within the limit of a bend zone, or lie in it."""
        polygons = [x.polygon for x in self.sheet.cutouts]
        places = {x.number: i for i, x in enumerate(self.sheet.cutouts)}
        circles = {places[x.contour]: (x.centre_mm, x.diameter_mm / 2) for x in self.sheet.holes}
        return tuple(
            (zone, x, self.sheet.cutouts[x.cutout])
            for zone in self.zones
            for x in cutouts_near(zone, polygons, limit_mm, circles)
            if x.cutout is not None
        )

    def gap_to_bend(self, point: Point2, radius_mm: float) -> tuple[float, BendZone, tuple[Point2, Point2]] | None:
        """Return how far a disc lies from the nearest bend zone beside it (negative: into it), the zone, and the span.

        None where no bend runs beside the disc.
        """
        best: tuple[float, BendZone, tuple[Point2, Point2]] | None = None
        for zone in self.zones:
            x, y = zone.frame.here(point)
            first, last = zone.extent
            if not first - radius_mm < x < last + radius_mm:
                continue
            side = 1.0 if y >= 0 else -1.0
            gap = abs(y) - radius_mm - zone.half_mm
            if best is None or gap < best[0]:
                ends = (zone.frame.back(x, side * zone.half_mm), zone.frame.back(x, y - side * radius_mm))
                best = (gap, zone, ends)
        return best

    def where(
        self,
        *zones: BendZone,
        at: Point2 | None = None,
        span: tuple[Point2, Point2] | None = None,
        entities: tuple[int, ...] = (),
    ) -> Where:
        """Return a place at one or more bends: at their middle, the middle of the span, or the point given."""
        lines = [(zone.frame.back(zone.extent[0], 0.0), zone.frame.back(zone.extent[1], 0.0)) for zone in zones]
        if at is None and span is None:
            at = zones[0].middle
        own = [x.bend.entity for x in zones if x.bend.entity is not None]
        return where([at] if at else (), [*own, *entities], at=at, lines=lines if span is None else (), span=span)
