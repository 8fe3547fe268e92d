"""Where a flat bends: the strip of sheet that each bend line takes up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lintsvc.handbook.bending import bend_allowance
from lintsvc.model.sheet import Bend, Point2

if TYPE_CHECKING:
    from shapely.geometry import LineString, Polygon

Floats = NDArray[np.float64]

#: A bend line that stops this short of the edge reaches it; so does one short of half a thickness.
_SHORT_MM = 0.5
#: A strip may reach this many half widths past the ends of its line: edges are seldom at right angles to it.
_SLOPE = 3.0
#: A corner lies on the edge of a zone within this (mm).
ON_EDGE_MM = 1e-4
#: Lines that cut zones off stand out so far, and end at a corner of the sheet that is so near (mm).
_OVER_MM = 2e-5
_CORNER_MM = 1e-5
#: Zones are rounded to this (mm).
_ROUND_MM = 1e-7
#: Less of a bend than this along its line is an artefact of drawn corners (mm).
_LEAST_MM = 0.05


class NotFolded(Exception):
    """The flat cannot be folded. `why` in plain words; `bends`: numbers of the bends; `point`: a place in the flat."""

    def __init__(self, why: str, bends: Sequence[int] = (), point: Point2 | None = None) -> None:
        self.why = why
        self.bends = tuple(bends)
        self.point = point
        super().__init__(why)


@dataclass(frozen=True, slots=True)
class FoldBend:
    """A bend with all its values. x of its frame runs along the line, y to its left; the zone is |y| <= half_mm.

    `number`: its place among the bends that were given. Radians.
    """

    number: int
    origin: Point2
    along: Point2
    length_mm: float
    angle: float
    up: bool
    radius_mm: float
    k: float
    allowance_mm: float

    @property
    def half_mm(self) -> float:
        """From the line to where the sheet is straight again."""
        return self.allowance_mm / 2

    def here(self, points: Floats) -> Floats:
        """Return (n, 2) points of the flat in the bend's frame."""
        c, s = self.along
        x, y = points[:, 0] - self.origin[0], points[:, 1] - self.origin[1]
        return np.column_stack([x * c + y * s, y * c - x * s])

    def back(self, points: Floats) -> Floats:
        """Return (n, 2) points of the frame in the flat."""
        c, s = self.along
        x, y = points[:, 0], points[:, 1]
        return np.column_stack([self.origin[0] + x * c - y * s, self.origin[1] + x * s + y * c])


@dataclass(frozen=True, eq=False)
class FoldZone:
    """One connected piece of a bend's strip. `bend`: index among the FoldBends. `cuts`: where it leaves the rest."""

    bend: int
    area: Polygon
    cuts: tuple[Floats, ...]


def fold_bends(bends: Sequence[Bend], thickness_mm: float) -> tuple[FoldBend, ...]:
    """Return the bends with their allowances; those of no angle are left out.

    Raises NotFolded for a bend with an unknown value, or one that is impossible.
    """
    found = []
    for number, bend in enumerate(bends):
        values = (("angle", bend.angle_deg), ("direction", bend.direction), ("inside radius", bend.radius_mm))
        unknown = [name for name, value in (*values, ("K-factor", bend.k_factor)) if value is None]
        if unknown:
            raise NotFolded(f"bend {number + 1} has no {' and no '.join(unknown)}", (number,), bend.start)
        assert bend.angle_deg is not None
        assert bend.radius_mm is not None
        assert bend.k_factor is not None
        length = math.dist(bend.start, bend.end)
        if not 0 <= bend.angle_deg <= 180 or bend.radius_mm < 0 or not 0 <= bend.k_factor < 1 or length <= _LEAST_MM:
            raise NotFolded(f"bend {number + 1} has impossible values", (number,), bend.start)
        if bend.angle_deg == 0:
            continue
        allowance = bend_allowance(bend.angle_deg, bend.radius_mm, thickness_mm, bend.k_factor)
        if allowance < 1e-3:
            raise NotFolded(
                f"bend {number + 1} takes up no sheet (inside radius and K-factor 0)", (number,), bend.start
            )
        found.append(
            FoldBend(
                number=number,
                origin=bend.start,
                along=((bend.end[0] - bend.start[0]) / length, (bend.end[1] - bend.start[1]) / length),
                length_mm=length,
                angle=math.radians(bend.angle_deg),
                up=bend.direction == "up",
                radius_mm=bend.radius_mm,
                k=bend.k_factor,
                allowance_mm=allowance,
            )
        )
    return tuple(found)


def reaches_within_mm(thickness_mm: float) -> float:
    """Return how far from the edge a bend line may stop and still reach it."""
    return max(_SHORT_MM, thickness_mm / 2)


def fold_zones(outline: Polygon, bends: Sequence[FoldBend], thickness_mm: float) -> list[FoldZone]:
    """Return the pieces of sheet that bend.

    Raises NotFolded for a line beside the sheet, one that stops inside it, and for zones that overlap.
    """
    import shapely

    zones: list[FoldZone] = []
    left, bottom, right, top = outline.bounds
    for index, bend in enumerate(bends):
        far = math.dist((left, bottom), (right, top)) + math.dist(bend.origin, (left, bottom))
        ends = bend.back(np.array([[-far, 0.0], [far, 0.0]]))
        strip = shapely.Polygon(_corners(bend, -far, far))
        # Rounding takes away slivers where another piece of sheet only touches the strip.
        parts = shapely.get_parts(shapely.set_precision(shapely.intersection(outline, strip), _ROUND_MM))
        own = [
            FoldZone(index, *zone)
            for part in parts
            if part.geom_type == "Polygon" and (zone := _bent(part, shapely.LineString(ends), bend, thickness_mm))
        ]
        if not own:
            raise NotFolded(f"bend {bend.number + 1} does not lie on the sheet", (bend.number,), bend.origin)
        zones += own
    _see_overlaps(zones, bends)
    return zones


def _corners(bend: FoldBend, low: float, high: float) -> Floats:
    h = bend.half_mm
    return bend.back(np.array([[low, -h], [high, -h], [high, h], [low, h]]))


def _bent(
    part: Polygon, axis: LineString, bend: FoldBend, thickness_mm: float
) -> tuple[Polygon, tuple[Floats, ...]] | None:
    """Return what of a piece of the strip the bend line passes through, and its inner edges; None for nothing."""
    import shapely

    slack = reaches_within_mm(thickness_mm)
    spans = []
    for piece in shapely.get_parts(shapely.intersection(part, axis)):
        if piece.is_empty:
            continue
        x = bend.here(shapely.get_coordinates(piece))[:, 0]
        low, high = float(x.min()), float(x.max())
        if min(high, bend.length_mm) - max(low, 0.0) > _LEAST_MM:
            spans.append((low, high))
    if not spans:
        return None
    first, last = min(a for a, _ in spans), max(b for _, b in spans)
    for over, end in ((-first, 0.0), (last - bend.length_mm, bend.length_mm)):
        if over > slack:
            x, y = bend.back(np.array([[end, 0.0]]))[0]
            why = f"bend {bend.number + 1} stops {over:.3g} mm short of the edge, and the sheet beside it holds it"
            raise NotFolded(why, (bend.number,), (float(x), float(y)))
    reach = _SLOPE * bend.half_mm
    x = bend.here(shapely.get_coordinates(part))[:, 0]
    if x.min() >= first - reach and x.max() <= last + reach:
        return part, _inner_edges(part, bend, ())
    # A relief that is too shallow: the strip runs on past it. Only what lies beside the line bends; the
    # rest tears off along the end of the bend.
    kept = shapely.intersection(part, shapely.Polygon(_corners(bend, first, last)))
    whole = max(shapely.get_parts(kept), key=lambda p: float(p.area))
    return (whole, _inner_edges(whole, bend, (first, last))) if whole.geom_type == "Polygon" else None


def _inner_edges(area: Polygon, bend: FoldBend, ends: Sequence[float]) -> tuple[Floats, ...]:
    """Return a zone's edges that are no edge of the sheet: its long sides, and the ends where it was cut off.

    Each (2, 2).
    """
    import shapely

    found = []
    for ring in shapely.get_rings(area):
        points = shapely.get_coordinates(ring)
        x, y = bend.here(points).T
        inner = np.zeros(len(points) - 1, bool)
        for values, at in ((y, -bend.half_mm), (y, bend.half_mm), *((x, end) for end in ends)):
            on = np.abs(values - at) < ON_EDGE_MM
            inner |= on[:-1] & on[1:]
        found += [points[i : i + 2] for i in np.flatnonzero(inner).tolist()]
    return tuple(found)


def cut_lines(outline: Polygon, zones: Sequence[FoldZone]) -> list[LineString]:
    """Return the lines that cut zones off the sheet, so drawn that they surely meet its edge.

    An end at a corner of the sheet is that corner; any other stands out a little.
    """
    import shapely
    from scipy.spatial import cKDTree

    ends = [cut for zone in zones for cut in zone.cuts]
    if not ends:
        return []
    lines = np.array(ends)
    corners = shapely.get_coordinates(outline)
    found, which = cKDTree(corners).query(lines.reshape(-1, 2))
    distance, nearest = np.asarray(found), np.asarray(which)
    at_corner = (distance < _CORNER_MM).reshape(-1, 2)
    way = lines[:, 1] - lines[:, 0]
    over = way / np.maximum(np.hypot(*way.T), 1e-300)[:, None] * _OVER_MM
    lines = np.stack([lines[:, 0] - over, lines[:, 1] + over], axis=1)
    lines[at_corner] = corners[nearest.reshape(-1, 2)[at_corner]]
    made: list[LineString] = list(np.atleast_1d(np.asarray(shapely.linestrings(lines), object)))
    return made


def _see_overlaps(zones: Sequence[FoldZone], bends: Sequence[FoldBend]) -> None:
    import shapely

    areas = np.array([z.area for z in zones], object)
    for i, j in shapely.STRtree(areas).query(areas, predicate="intersects").T.tolist():
        if i < j and shapely.intersection(areas[i], areas[j]).area > 1e-3:
            one, other = bends[zones[i].bend].number, bends[zones[j].bend].number
            at = shapely.intersection(areas[i], areas[j]).centroid
            why = f"bends {one + 1} and {other + 1} run into each other"
            raise NotFolded(why, (one, other), (float(at.x), float(at.y)))
