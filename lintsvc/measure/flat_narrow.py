"""Where material or a void is narrow: between contours and within one.

Measured are distances square across: from a point of the boundary to another so that the way between
them leaves both square (at a corner: anywhere between the normals of its two sides), through nothing but
material, or nothing but void. The shortest way across every web, neck, finger and slot is one of these;
a sharp corner by itself has none. Between straight sides and circles the distance is exact; where arcs
or other curves take part it is refined on the true arcs. A contour in which no wide circle fits is narrow
as a whole, whatever its shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_boundary import ACROSS, Boundary, boundary_of, region_of
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_curves import Curves
from lintsvc.measure.flat_places import Ways, places_of
from lintsvc.measure.flat_refine import refine
from lintsvc.measure.flat_segments import Segments, box_pairs, distance_to_segments
from lintsvc.measure.flat_weld import Floats, Ints
from lintsvc.measure.flat_where import where
from lintsvc.measure.flat_whole import WITHIN_MM, wholes_of
from lintsvc.model.finding import Where

Side = Literal["material", "void"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Narrow:
    """A narrow place: `width_mm` from `start` to `end`.

    `contours`: numbers of the contours on both sides, twice the same within one. `depth_mm`: within one
    contour, how far the narrow place runs along it on each side (half the way around it, less the width);
    infinite between two. `whole`: the contour has room for no wider circle anywhere.
    """

    side: Side
    width_mm: float
    start: Point
    end: Point
    contours: tuple[int, int]
    depth_mm: float
    whole: bool
    entities: tuple[int, ...]

    @property
    def where(self) -> Where:
        """Its place, with the distance as span."""
        return where((), self.entities, span=(self.start, self.end))

    @property
    def is_detail(self) -> bool:
        """Within one contour and at most as deep as wide: a notch or a bump, no slot and no neck."""
        return self.within_one and not self.whole and self.depth_mm <= self.width_mm

    @property
    def within_one(self) -> bool:
        """Both sides belong to one contour."""
        return self.contours[0] == self.contours[1]


@dataclass(frozen=True, eq=False)
class NarrowPlaces:
    """Narrow places as arrays, narrowest first: made into `Narrow` only where somebody asks."""

    width: Floats
    p: Floats
    q: Floats
    contours: Ints
    void: NDArray[np.bool_]
    depth: Floats
    whole: NDArray[np.bool_]
    #: (n, 2) entity at each end, −1 where the end is on a circle.
    entity: Ints

    @property
    def columns(self) -> tuple[NDArray[Any], ...]:
        """The arrays in the order above, a row for each place."""
        return tuple(getattr(self, x) for x in NarrowPlaces.__dataclass_fields__)

    def narrowest_first(self, reach_mm: float) -> NarrowPlaces:
        """Return those up to a width, in the order of it."""
        order = np.lexsort([self.q[:, 1], self.q[:, 0], self.width.round(6)])
        order = order[self.width[order] <= reach_mm]
        return NarrowPlaces(*(x[order] for x in self.columns))

    def below(self, limit_mm: float, owners: tuple[Contour, ...]) -> list[Narrow]:
        """Return the places narrower than a limit. `owners`: all contours, by number."""
        some = self.width < limit_mm
        found = []
        for width, p, q, c, void, depth, whole, entity in zip(*(x[some].tolist() for x in self.columns), strict=True):
            side: Side = "void" if void else "material"
            ends = (p[0], p[1]), (q[0], q[1])
            found.append(Narrow(side, width, *ends, (c[0], c[1]), depth, whole, _both(owners, c, entity)))
        return found


def _both(owners: tuple[Contour, ...], contours: list[int], entity: list[int]) -> tuple[int, ...]:
    one, other = ((e,) if e >= 0 else owners[c].entities for c, e in zip(contours, entity, strict=True))
    return one if one == other else tuple(sorted({*one, *other}))


def narrow_places(curves: Curves, contours: tuple[Contour, ...], reach_mm: float) -> NarrowPlaces:
    """Return every narrow place up to `reach_mm` wide, one for each stretch of boundary.

    Raises TooTangled where there are too many pairs of sides to look at.
    """
    edge = boundary_of(contours, reach_mm)
    segments = edge.segments()
    slack = 2 * curves.chord_mm
    circles = [x for x in contours if x.circle is not None]
    found = [_no_ways(), *_between_sides(edge, segments, reach_mm + slack)]
    if circles:
        found += [*_between_circles(circles, reach_mm), *_circles_and_sides(circles, edge, segments, reach_mm + slack)]
    ways = Ways(*(np.concatenate([getattr(x, n) for x in found]) for n in Ways.__dataclass_fields__))
    ways = ways.only(_free(ways, edge, segments, circles))
    places = places_of(ways, edge)
    best = ways.only(places.best)
    p, q = refine(curves, edge, contours, places.p, places.q, best.i, best.j, best.ci, best.cj)
    width = np.hypot(*(q - p).T)
    owner = curves.entity[edge.curve] if len(edge) else np.zeros(1, np.int64)
    ends = np.column_stack([best.i, best.j])
    one = best.ci == best.cj
    found_places = NarrowPlaces(
        width=width,
        p=p,
        q=q,
        contours=np.column_stack([best.ci, best.cj]),
        void=best.void,
        depth=np.where(one, (places.along - width) / 2, np.inf),
        whole=np.zeros(len(width), bool),
        entity=np.where(ends >= 0, owner[ends], -1),
    )
    return _with_wholes(found_places, contours, reach_mm, curves.chord_mm).narrowest_first(reach_mm)


def _with_wholes(places: NarrowPlaces, contours: tuple[Contour, ...], reach_mm: float, chord: float) -> NarrowPlaces:
    """Give each contour that is narrow as a whole one place that says so; those in it that are no narrower go."""
    hole = np.array([x.role == "cutout" for x in contours], bool)
    number = places.contours[:, 0]
    inside = np.flatnonzero((number == places.contours[:, 1]) & (places.void == hole[number]))
    slots = inside[places.depth[inside] > places.width[inside]]
    narrowest = np.full(len(contours), np.inf)
    np.minimum.at(narrowest, number[slots], places.width[slots])
    wholes = wholes_of(contours, reach_mm, narrowest)
    if not wholes:
        return places
    room = np.full(len(contours), np.inf)
    room[[x.contour for x in wholes]] = [x.width_mm for x in wholes]
    # Measured square across on true arcs the width of a circle that touches both sides is exact.
    wider = inside[places.width[inside] >= room[number[inside]] - WITHIN_MM]
    exact: dict[int, int] = {}
    for k in wider[np.argsort(places.width[wider])].tolist():
        if places.width[k] <= room[number[k]] + 2 * chord:
            exact.setdefault(int(number[k]), k)
    kept = np.ones(len(places.width), bool)
    kept[wider] = False
    kept[list(exact.values())] = True
    places.whole[list(exact.values())] = True
    added = [x for x in wholes if x.contour not in exact]
    many = len(added)
    more = NarrowPlaces(
        width=np.array([x.width_mm for x in added]),
        p=np.array([x.start for x in added]).reshape(-1, 2),
        q=np.array([x.end for x in added]).reshape(-1, 2),
        contours=np.array([(x.contour, x.contour) for x in added], np.int64).reshape(-1, 2),
        void=hole[[x.contour for x in added]],
        depth=np.zeros(many),
        whole=np.ones(many, bool),
        entity=np.full((many, 2), -1),
    )
    return NarrowPlaces(
        *(np.concatenate([one[kept], other]) for one, other in zip(places.columns, more.columns, strict=True))
    )


def _no_ways() -> Ways:
    none, flat = np.zeros(0, np.int64), np.zeros((0, 2))
    return Ways(flat, flat, none, none, none, none, np.zeros(0, bool), np.zeros(0), np.zeros(0))


def _between_sides(edge: Boundary, segments: Segments, reach: float) -> list[Ways]:
    """Find ways from the start of a side to another side."""
    found: list[Ways] = []
    for one, other in segments.near_pairs(reach):
        same = edge.region[one] == edge.region[other]
        for i, j in ((one[same], other[same]), (other[same], one[same])):
            found += _corner_to_side(edge, i, j, reach)
    return found


def _corner_to_side(edge: Boundary, i: Ints, j: Ints, reach: float) -> list[Ways]:
    apart = edge.before[i] != j
    i, j = i[apart], j[apart]
    distance, share = distance_to_segments(edge.a[i], edge.a[j], edge.b[j])
    close = distance <= reach
    i, j, distance, share = i[close], j[close], distance[close], share[close]
    p = edge.a[i]
    q = edge.a[j] + share[:, None] * (edge.b[j] - edge.a[j])
    touching = distance <= 1e-9
    way = (q - p) / np.where(touching, 1.0, distance)[:, None]
    at_start, at_end = share <= 0.0, share >= 1.0
    corner = np.where(at_end, edge.after[j], j)
    # The corner itself is looked at once, from the side that starts there.
    once = ~at_end & (i != corner)
    found = []
    one = edge.contour[i] == edge.contour[j]
    around = np.where(one, edge.around[i], np.inf)
    ahead = edge.way[j] + share * np.hypot(*(edge.b[j] - edge.a[j]).T) - edge.way[i]
    ahead = np.where(one, ahead % edge.around[i], 0.0)
    for side in (1, -1):
        square = side * -(way * edge.normal[j]).sum(axis=1) >= np.cos(ACROSS)
        arrives = np.where(at_start, edge.may_leave(corner, -way, side), square)
        fits = once & (touching | (edge.may_leave(i, way, side) & arrives))
        if side < 0:
            fits &= one & ~touching
        k = np.flatnonzero(fits)
        void, ci, cj = np.full(len(k), side < 0), edge.contour[i[k]], edge.contour[j[k]]
        # A way that starts or ends at a corner counts for the side that it is square to.
        from_side = edge.squarest(i[k], way[k], side)
        to_side = np.where(at_start[k], edge.squarest(j[k], -way[k], side), j[k])
        found.append(Ways(p[k], q[k], from_side, to_side, ci, cj, void, ahead[k], around[k]))
    return found


def _between_circles(circles: list[Contour], reach: float) -> list[Ways]:
    import shapely

    centre, radius, number, region, disc = _circle_table(circles)
    low, high = centre - radius[:, None], centre + radius[:, None]
    boxes = np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    grown = np.asarray(shapely.box(low[:, 0] - reach, low[:, 1] - reach, high[:, 0] + reach, high[:, 1] + reach))
    found = []
    for i, j in box_pairs(shapely.STRtree(boxes), grown):
        pair = (j > i) & (region[i] == region[j])
        i, j = i[pair], j[pair]
        # The disc that bounds the material comes first; two discs bound no material between them.
        swap = disc[j]
        i, j = np.where(swap, j, i), np.where(swap, i, j)
        between = centre[j] - centre[i]
        far = np.hypot(*between.T)
        unit = np.where((far > 1e-12)[:, None], between / np.maximum(far, 1e-300)[:, None], [1.0, 0.0])
        width = np.where(disc[i], radius[i] - far - radius[j], far - radius[i] - radius[j])
        k = np.flatnonzero((width >= 0) & (width <= reach) & ~disc[j])
        i, j, unit = i[k], j[k], unit[k]
        towards = np.where(disc[i], 1.0, -1.0)[:, None]
        p, q = centre[i] + radius[i, None] * unit, centre[j] + towards * radius[j, None] * unit
        found.append(_circle_ways(p, q, number[i], number[j], np.full(len(k), -1)))
    return found


def _circles_and_sides(circles: list[Contour], edge: Boundary, segments: Segments, reach: float) -> list[Ways]:
    import shapely

    if not len(edge):
        return []
    centre, radius, number, region, disc = _circle_table(circles)
    low, high = centre - (radius + reach)[:, None], centre + (radius + reach)[:, None]
    boxes = np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    found = []
    for c, j in box_pairs(segments.tree, boxes):
        same = region[c] == edge.region[j]
        c, j = c[same], j[same]
        # From a disc inwards it is the corners of other contours that come nearest its rim.
        distance, share = distance_to_segments(centre[c], edge.a[j], edge.b[j])
        rim = disc[c]
        share = np.where(rim, 0.0, share)
        q = edge.a[j] + share[:, None] * (edge.b[j] - edge.a[j])
        far = np.where(rim, np.hypot(*(q - centre[c]).T), distance)
        width = np.where(rim, radius[c] - far, far - radius[c])
        k = np.flatnonzero((width >= 0) & (width <= reach) & (far > 1e-12) & (share < 1.0))
        c, j, q, share, far, rim = c[k], j[k], q[k], share[k], far[k], rim[k]
        unit = (q - centre[c]) / far[:, None]
        back = np.where(rim[:, None], unit, -unit)
        square = (back * edge.normal[j]).sum(axis=1) >= np.cos(ACROSS)
        fits = np.where(share <= 0.0, edge.may_leave(j, back, 1), square)
        p = centre[c] + radius[c, None] * unit
        to_side = np.where(share <= 0.0, edge.squarest(j, back, 1), j)
        found.append(_circle_ways(p[fits], q[fits], number[c[fits]], edge.contour[j[fits]], to_side[fits]))
    return found


def _circle_table(circles: list[Contour]) -> tuple[Floats, Floats, Ints, Ints, NDArray[np.bool_]]:
    """Return centres, radii, contour numbers, regions, and whether the material is inside."""
    rows = np.array([x.circle for x in circles if x.circle is not None])
    number, region = np.array([x.number for x in circles]), np.array([region_of(x) for x in circles])
    return rows[:, :2], rows[:, 2], number, region, np.array([x.role != "cutout" for x in circles])


def _circle_ways(p: Floats, q: Floats, ci: Ints, cj: Ints, j: Ints) -> Ways:
    count = len(ci)
    return Ways(p, q, np.full(count, -1), j, ci, cj, np.zeros(count, bool), np.zeros(count), np.full(count, np.inf))


def _free(ways: Ways, edge: Boundary, segments: Segments, circles: list[Contour]) -> NDArray[np.bool_]:
    """True for ways that no other boundary crosses."""
    import shapely

    free = np.ones(len(ways), bool)
    p, q = ways.p, ways.q
    low, high = np.minimum(p, q), np.maximum(p, q)
    boxes = np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    if len(edge):
        for w, s in box_pairs(segments.tree, boxes):
            u, v = q[w] - p[w], edge.b[s] - edge.a[s]
            across = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
            to = edge.a[s] - p[w]
            safe = np.where(across == 0, 1.0, across)
            t, r = (to[:, 0] * v[:, 1] - to[:, 1] * v[:, 0]) / safe, (to[:, 0] * u[:, 1] - to[:, 1] * u[:, 0]) / safe
            # Sides at the ends of the way meet it there, t being 0 or 1.
            cut = (across != 0) & (t > 1e-6) & (t < 1 - 1e-6) & (r >= 0) & (r <= 1)
            free[w[cut]] = False
    if circles:
        centre, radius, number, _, _ = _circle_table(circles)
        low, high = centre - radius[:, None], centre + radius[:, None]
        tree = shapely.STRtree(np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])))
        for w, c in box_pairs(tree, boxes):
            other = (number[c] != ways.ci[w]) & (number[c] != ways.cj[w])
            w, c = w[other], c[other]
            nearest, _ = distance_to_segments(centre[c], p[w], q[w])
            furthest = np.maximum(np.hypot(*(p[w] - centre[c]).T), np.hypot(*(q[w] - centre[c]).T))
            free[w[(nearest < radius[c] - 1e-6) & (furthest > radius[c] + 1e-6)]] = False
    return free
