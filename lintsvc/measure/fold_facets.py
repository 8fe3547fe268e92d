"""A bend's zone in flat facets along its line: its rings with the facets' corners in them, and triangles."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.fold_zones import Floats, FoldBend, NotFolded

if TYPE_CHECKING:
    from shapely.geometry import Polygon

Ints = NDArray[np.int64]
#: The facets of a bend lie within this of the true arc on its outside (mm) ...
CHORD_MM = 0.01
#: ... and turn by no more than this each.
_FACET = math.radians(15)
#: A corner this near to a facet's edge lies on it.
_SAME_MM = 1e-5


def facets_of(bend: FoldBend, thickness_mm: float) -> int:
    """Return into how many flat facets a bend is cut: an even number, for a corner at its middle."""
    radius = bend.radius_mm + thickness_mm
    step = min(_FACET, 2 * math.acos(max(0.0, 1 - CHORD_MM / radius)))
    return 2 * max(1, math.ceil(bend.angle / step / 2))


def faceted(zone: Polygon, bend: FoldBend, thickness_mm: float) -> tuple[list[Floats], Ints]:
    """Return the zone's rings (flat, counter-clockwise outside) with corners where facets meet, and triangles.

    Triangles are numbers of those corners, ring after ring; none crosses from one facet to the next.
    """
    import shapely

    h = bend.half_mm
    facets = facets_of(bend, thickness_mm)
    levels = [h * (2 * i / facets - 1) for i in range(1, facets)]
    rings = [_with_levels(bend.here(shapely.get_coordinates(r)[:-1]), levels) for r in shapely.get_rings(zone)]
    triangles = _strip(rings[0], levels, h) if len(rings) == 1 else None
    if triangles is None:
        triangles = _slabs(rings, levels, h)
    return [bend.back(ring) for ring in rings], triangles


def _with_levels(ring: Floats, levels: list[float]) -> Floats:
    """Put a corner where an edge crosses from one facet to the next."""
    found: list[tuple[float, float]] = []
    corners = ring.tolist()
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
        found.append((x1, y1))
        low, high = min(y1, y2) + _SAME_MM, max(y1, y2) - _SAME_MM
        crossed = [y for y in levels if low < y < high]
        way = crossed if y2 > y1 else crossed[::-1]
        found += [(x1 + (x2 - x1) * (y - y1) / (y2 - y1), y) for y in way]
    return np.array(found)


def _strip(ring: Floats, levels: list[float], half_mm: float) -> Ints | None:
    """Return triangles of a zone with two straight ends; None for any other."""
    y = ring[:, 1]
    lower, upper = y < -half_mm + 2 * _SAME_MM, y > half_mm - 2 * _SAME_MM
    if len(ring) != lower.sum() + upper.sum() + 2 * len(levels) or lower.sum() < 2 or upper.sum() < 2:
        return None
    # Counter-clockwise from the left of the lower side: along it, up the right end, back along the upper side, down.
    first = int(np.flatnonzero(lower & ~np.roll(lower, 1))[0])
    order = np.roll(np.arange(len(ring)), -first)
    a, n, b = int(lower.sum()), len(levels), int(upper.sum())
    if not (lower[order[:a]].all() and upper[order[a + n : a + n + b]].all()):
        return None
    rows = [order[:a].tolist()]
    rows += [[int(order[-1 - i]), int(order[a + i])] for i in range(n)]
    rows.append(order[a + n : a + n + b][::-1].tolist())
    found: list[tuple[int, int, int]] = []
    for low, high in pairwise(rows):
        found += [(p, q, high[0]) for p, q in pairwise(low)]
        found += [(low[-1], q, p) for p, q in pairwise(high)]
    return np.array(found, np.int64)


def _slabs(rings: list[Floats], levels: list[float], half_mm: float) -> Ints:
    """Return triangles of any zone: each facet is cut out and triangulated, its corners found among the rings'."""
    import shapely
    from manifold3d import triangulate
    from scipy.spatial import cKDTree

    zone = shapely.Polygon(rings[0], rings[1:])
    corners = np.concatenate(rings)
    tree = cKDTree(corners)
    left, right = float(corners[:, 0].min()) - 1.0, float(corners[:, 0].max()) + 1.0
    bounds = [-half_mm - 1e-3, *levels, half_mm + 1e-3]
    found: list[Ints] = []
    for low, high in pairwise(bounds):
        slab = shapely.intersection(zone, shapely.box(left, low, right, high))
        for piece in shapely.orient_polygons(shapely.get_parts(slab)):
            if piece.geom_type != "Polygon" or piece.area < 1e-9:
                continue
            numbers: list[Ints] = []
            for ring in shapely.get_rings(piece):
                near, which = tree.query(shapely.get_coordinates(ring)[:-1])
                distance, number = np.asarray(near), np.asarray(which)
                if distance.max() > 10 * _SAME_MM:
                    raise NotFolded("the outline is too ragged where it bends")
                # The cut makes a second corner beside one that lies on it.
                kept = number[number != np.roll(number, 1)]
                if len(kept) > 2:
                    numbers.append(kept.astype(np.int64))
            if numbers:
                corner = np.concatenate(numbers)
                found.append(corner[np.asarray(triangulate([corners[n] for n in numbers]), np.int64)])
    return np.concatenate(found)
