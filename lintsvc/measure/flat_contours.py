"""Contours: closed loops with their exact area, what lies in what, and the role that follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_curves import Curves, ring_of_circle
from lintsvc.measure.flat_nesting import nesting
from lintsvc.measure.flat_rings import Rings, arc_areas, lengths, signed_areas
from lintsvc.measure.flat_weld import Floats, Ints, weld
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where

if TYPE_CHECKING:
    import shapely

ContourRole = Literal["outer", "cutout", "island"]
#: A loop this near another all the way around repeats it; one must be this many times larger than that to be told.
_FAR_LARGER = 4.0


@dataclass(frozen=True, eq=False)
class Contour:
    """A closed loop. `parent` is the number of the smallest contour around it; `depth` counts those around
    it: 0 is an outer contour, 1 a cutout, 2 an island in a cutout, and so on by turns.

    `area_mm2` and `length_mm` are of the loop alone: the area with true arcs and circles, the length of
    arcs by their points.
    """

    number: int
    role: ContourRole
    depth: int
    parent: int | None
    entities: tuple[int, ...]
    area_mm2: float
    length_mm: float
    #: Centre and radius of a loop that is one drawn circle.
    circle: tuple[float, float, float] | None
    #: False where ends had to be joined for it to close.
    closed: bool
    #: (n,) the curve that the side from each point to the next came from; one for a circle.
    curves: Ints = field(repr=False)
    #: Points where there are any (not for a circle), and the chord error for a circle's.
    ring: Floats = field(repr=False)
    chord_mm: float = field(repr=False)

    @cached_property
    def points(self) -> Floats:
        """(n, 2) mm, counter-clockwise, the first not repeated; arcs and circles within a chord error."""
        if self.circle is None:
            return self.ring
        x, y, radius = self.circle
        return ring_of_circle(np.array([x, y]), radius, self.chord_mm)

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """The loop as a shapely polygon, holes not cut out. Not valid where the loop crosses itself."""
        import shapely

        return shapely.Polygon(self.points)

    @property
    def where(self) -> Where:
        """Its place, seen at its middle."""
        x, y = self.polygon.centroid.coords[0]
        left, bottom, right, top = self.box
        return where([(left, bottom), (right, top)], self.entities, at=(x, y))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top."""
        if self.circle is not None:
            x, y, radius = self.circle
            return x - radius, y - radius, x + radius, y + radius
        (left, bottom), (right, top) = self.ring.min(axis=0).tolist(), self.ring.max(axis=0).tolist()
        return left, bottom, right, top


@dataclass(frozen=True, slots=True)
class SameLoop:
    """A loop that repeats another: entities of the one kept and of the one left out, its length, a point on it."""

    kept: tuple[int, ...]
    dropped: tuple[int, ...]
    length_mm: float
    point: tuple[float, float]


def contours_of(
    curves: Curves, rings: Rings, circles: Ints, joined: set[int], meeting: Ints
) -> tuple[tuple[Contour, ...], tuple[SameLoop, ...]]:
    """Return the contours, largest first, and loops left out because they repeat another.

    `rings` of curves and single `circles` are the loops; `joined`: curves one of whose ends was joined
    over a gap; `meeting` (m, 2): curves that cross or touch. Raises TooTangled for nesting without end.
    """
    rings = _counter_clockwise(rings)
    around = lengths(rings)
    area = _areas(curves, rings, around * curves.same_mm)
    some = np.flatnonzero(area > around * curves.same_mm)
    radius, centre = curves.radius[circles], curves.centre[circles]
    area = np.concatenate([area[some], np.pi * radius**2])
    around = np.concatenate([around[some], 2 * np.pi * radius])
    circle_of = np.concatenate([np.full(len(some), -1), circles])
    low, high = _boxes(rings)
    low = np.concatenate([low[some], centre - radius[:, None]])
    high = np.concatenate([high[some], centre + radius[:, None]])
    entities = _entities(curves, rings, some, circles)

    def points(k: int) -> Floats:
        c = int(circle_of[k])
        return rings.points_of(int(some[k])) if c < 0 else curves.points_of(c)

    order = np.lexsort([low[:, 1].round(3), low[:, 0].round(3), -area.round(3)])
    repeats = _repeats(points, area, around, (low + high) / 2, curves.join_mm / 2)
    same = []
    for dropped, kept_one in repeats.items():
        x, y = points(dropped)[0].tolist()
        same.append(SameLoop(entities[kept_one], entities[dropped], float(around[dropped]), (x, y)))
    kept = order[~np.isin(order, list(repeats))]
    shapes = _polygons(rings, some)
    shape_of = np.concatenate([np.arange(len(some)), np.full(len(circles), -1)])[kept]
    circle_of = circle_of[kept]
    at, size = curves.centre[circle_of], curves.radius[circle_of]
    loop_of = np.full(len(curves), -1)
    place = np.full(len(area), -1)
    place[kept] = np.arange(len(kept))
    ring_at = np.full(len(rings), -1)
    ring_at[some] = place[: len(some)]
    loop_of[rings.curve] = ring_at[rings.owner]
    loop_of[circles] = place[len(some) :]
    pairs = np.unique(np.sort(loop_of[meeting], axis=1), axis=0).reshape(-1, 2)
    pairs = pairs[(pairs[:, 0] >= 0) & (pairs[:, 0] != pairs[:, 1])]
    parent, depth = nesting(area[kept], low[kept], high[kept], shapes, shape_of, at, size, pairs)
    found = []
    rows = zip(kept.tolist(), circle_of.tolist(), parent.tolist(), depth.tolist(), strict=True)
    for n, (k, c, up, deep) in enumerate(rows):
        role: ContourRole = "outer" if deep == 0 else "cutout" if deep % 2 else "island"
        if c < 0:
            span = slice(int(rings.offset[some[k]]), int(rings.offset[some[k] + 1]))
            ring, owner, circle = rings.points[span], rings.curve[span], None
        else:
            ring, owner = np.zeros((0, 2)), circles[k - len(some) : k - len(some) + 1]
            circle = (*curves.centre[c].tolist(), float(curves.radius[c]))
        closed = not joined or joined.isdisjoint(owner.tolist())
        made = Contour(
            number=n,
            role=role,
            depth=deep,
            parent=up if up >= 0 else None,
            entities=entities[k],
            area_mm2=float(area[k]),
            length_mm=float(around[k]),
            circle=circle,
            closed=closed,
            curves=owner,
            ring=ring,
            chord_mm=curves.chord_mm,
        )
        if c < 0:
            # The polygon is there already: making it again would cost more than all the rest.
            made.__dict__["polygon"] = shapes[k]
        found.append(made)
    return tuple(found), tuple(same)


def _areas(curves: Curves, rings: Rings, least: Floats) -> Floats:
    """Return the area in each ring, of one that crosses itself the sum of its lobes; 0 for fewer than three points."""
    area = signed_areas(rings) + arc_areas(curves, rings)
    area[np.diff(rings.offset) < 3] = 0.0
    # The lobes of a bow tie cancel.
    for r in np.flatnonzero((area <= least) & (np.diff(rings.offset) > 3)).tolist():
        import shapely

        area[r] = shapely.make_valid(shapely.Polygon(rings.points_of(r))).area
    return area


def _counter_clockwise(rings: Rings) -> Rings:
    """Return the rings, all running counter-clockwise."""
    if not len(rings.points):
        return rings
    owner = rings.owner
    first, last = rings.offset[:-1][owner], rings.offset[1:][owner] - 1
    me = np.arange(len(rings.points))
    back = (signed_areas(rings) < 0)[owner]
    # Reversed, the side after a point is the one that was before it.
    point = np.where(back, first + last - me, me)
    side = np.where(back, np.where(point > first, point - 1, last), me)
    return Rings(rings.points[point], rings.curve[side], rings.offset)


def _boxes(rings: Rings) -> tuple[Floats, Floats]:
    count = len(rings)
    low, high = np.zeros((count, 2)), np.zeros((count, 2))
    filled = np.diff(rings.offset) > 0
    if filled.any():
        at = rings.offset[:-1][filled]
        low[filled], high[filled] = np.minimum.reduceat(rings.points, at), np.maximum.reduceat(rings.points, at)
    return low, high


def _entities(curves: Curves, rings: Rings, some: Ints, circles: Ints) -> list[tuple[int, ...]]:
    """Return the entities of each chosen ring and each circle, in order of number."""
    most = int(curves.entity.max(initial=0)) + 1
    pairs = np.unique(rings.owner * most + curves.entity[rings.curve]) if len(rings.points) else np.zeros(0, np.int64)
    ring, entity = pairs // most, (pairs % most).tolist()
    start = np.searchsorted(ring, np.arange(len(rings) + 1)).tolist()
    found = [tuple(entity[start[r] : start[r + 1]]) for r in some.tolist()]
    return found + [(x,) for x in curves.entity[circles].tolist()]


def _polygons(rings: Rings, some: Ints) -> NDArray[np.object_]:
    import shapely

    if not len(some):
        return np.zeros(0, object)
    chosen = np.isin(rings.owner, some)
    place = np.searchsorted(some, rings.owner[chosen])
    made = shapely.polygons(np.asarray(shapely.linearrings(rings.points[chosen], indices=place)))
    return np.asarray(made, object)


def _repeats(
    points: Callable[[int], Floats], area: Floats, around: Floats, middle: Floats, near_mm: float
) -> dict[int, int]:
    """Return {loop: loop it repeats}: loops that run within `near_mm` of each other all the way around."""
    import shapely

    spot, _ = weld(middle, near_mm)
    by_spot = np.lexsort([-area, spot])
    one, other = by_spot[:-1], by_spot[1:]
    # Far larger than their distance: a tiny hole beside its like is no repetition.
    large = area[other] > (_FAR_LARGER * near_mm) ** 2
    likely = (spot[one] == spot[other]) & (area[one] - area[other] <= near_mm * around[one]) & large
    repeated: dict[int, int] = {}
    for a, b in zip(one[likely].tolist(), other[likely].tolist(), strict=True):
        p, q = points(a), points(b)
        few, many = (x[np.unique(np.linspace(0, len(x) - 1, 64).astype(int))] for x in (q, p))
        to_p = shapely.distance(shapely.points(few), shapely.linearrings(p)).max()
        to_q = shapely.distance(shapely.points(many), shapely.linearrings(q)).max()
        if max(to_p, to_q) <= near_mm:
            repeated[b] = repeated.get(a, a)
    return repeated
