"""A flat cut along its bends into panels and bends, neighbours sharing their corners.

All that follows needs only numbers: which cells belong to which panel or bend, which edges join them,
and where the edge of the sheet runs. A flat is cut once; posing it anew moves its corners only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.fold_facets import faceted
from lintsvc.measure.fold_zones import ON_EDGE_MM, FoldBend, FoldZone, NotFolded, cut_lines
from lintsvc.measure.inner_points import inner_points

if TYPE_CHECKING:
    from shapely.geometry import LinearRing, Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Coordinates are rounded to this where lines are cut with each other (mm).
GRID_MM = 1e-6
#: A cutout that is further from the box around every bend takes no part in cutting (mm).
_FAR_MM = 0.1
#: Smaller pieces of sheet are leavings of rounding (mm²).
_SPECK_MM2 = 1e-4


@dataclass(frozen=True, eq=False)
class Cells:
    """`points` (n, 2): vertices of the flat, one for each place and each piece of sheet that is joined there.

    `label` (n,): what a vertex moves with: a panel (0 … panels − 1) or a zone (panels + its index).
    `triangles` (m, 3) counter-clockwise, `triangle_label` (m,), `rim` (k, 2): the edge of the sheet,
    sheet to the left, `rim_label` (k,). `sides`: for each zone the panels at y < 0 and those at y > 0.
    """

    points: Floats
    label: Ints
    triangles: Ints
    triangle_label: Ints
    rim: Ints
    rim_label: Ints
    panels: tuple[Polygon, ...]
    sides: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]
    shapes: NDArray[Any]
    shape_label: Ints


def cut(outline: Polygon, bends: Sequence[FoldBend], zones: Sequence[FoldZone], thickness_mm: float) -> Cells:
    """Cut a flat into cells. Raises NotFolded for a bend with nothing beyond it."""
    import shapely

    near, far = _near_zones(outline, zones)
    # The ends of a zone are the sheet's own edge, drawn once: twice, they would cross each other everywhere.
    lines: list[Any] = [shapely.boundary(near), *cut_lines(near, zones)]
    net = shapely.union_all(lines, grid_size=GRID_MM)
    shapes = np.array(shapely.get_parts(shapely.polygonize(shapely.get_parts(net))), object)
    outline = near
    inner = inner_points(shapes)
    inside = shapely.contains_xy(outline, shapely.get_coordinates(inner)) & (shapely.area(shapes) > _SPECK_MM2)
    shapes, inner = shapely.orient_polygons(shapes[inside]), inner[inside]
    in_zone = np.full(len(shapes), -1, np.int64)
    cell, zone_number = (
        shapely.STRtree(inner).query([z.area for z in zones], predicate="contains")[::-1] if zones else ((), ())
    )
    in_zone[np.asarray(cell, np.int64)] = zone_number
    shapes = shapely.orient_polygons(_with_holes(shapes, far))
    order = np.argsort(-shapely.area(shapes) * (in_zone < 0), kind="stable")
    shapes, in_zone = shapes[order], in_zone[order]
    panels = int((in_zone < 0).sum())
    label = np.where(in_zone < 0, np.arange(len(shapes)), panels + in_zone)
    return _joined(shapes, label, panels, bends, zones, thickness_mm)


def _near_zones(outline: Polygon, zones: Sequence[FoldZone]) -> tuple[Polygon, list[LinearRing]]:
    """Return the outline without the cutouts that lie far from all bends, and those: no cut goes through them."""
    import shapely

    rings = np.array(outline.interiors, object)
    if not len(rings):
        return outline, []
    near = np.zeros(len(rings), bool)
    if zones:
        boxes = [z.area.buffer(_FAR_MM).envelope for z in zones]
        near[shapely.STRtree(rings).query(boxes, predicate="intersects")[1]] = True
    return shapely.Polygon(outline.exterior, rings[near].tolist()), rings[~near].tolist()


def _with_holes(shapes: NDArray[Any], holes: Sequence[LinearRing]) -> NDArray[Any]:
    """Cut holes out of the shapes that they lie in."""
    import shapely

    if not holes:
        return shapes
    inside, shape = shapely.STRtree(shapes).query(np.array(holes, object), predicate="within")
    found = shapes.copy()
    for number in np.unique(shape).tolist():
        own = [holes[i] for i in inside[shape == number].tolist()]
        found[number] = shapely.Polygon(shapes[number].exterior, [*shapes[number].interiors, *own])
    return found


def _joined(
    shapes: NDArray[Any],
    label: Ints,
    panels: int,
    bends: Sequence[FoldBend],
    zones: Sequence[FoldZone],
    thickness_mm: float,
) -> Cells:
    """Join cells at the edges that they share, where both belong to one bend or meet at the edge of its zone."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    outlines = [
        (_rings(shape), None) if n < panels else faceted(shape, bends[zones[n - panels].bend], thickness_mm)
        for n, shape in zip(label.tolist(), shapes, strict=True)
    ]
    corner_xy, cell_of, following, triangles = _corners(outlines)
    keys = np.unique(np.round(corner_xy / GRID_MM).astype(np.int64), axis=0, return_inverse=True)[1].ravel()
    start, end = keys, keys[following]
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.lexsort((high, low))
    same = (low[order][1:] == low[order][:-1]) & (high[order][1:] == high[order][:-1])
    one, other = order[:-1][same], order[1:][same]
    a, b = label[cell_of[one]], label[cell_of[other]]
    side = _side_of_edges(corner_xy, following, one, a, b, panels, bends, zones)
    holds = (a == b) | (side != 0)
    one, other, side = one[holds], other[holds], side[holds]
    # Edge i runs from corner i to following[i]; its twin runs the other way.
    rows = np.concatenate([one, following[one]])
    columns = np.concatenate([following[other], other])
    count = len(corner_xy)
    graph = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
    vertices, vertex = connected_components(graph, directed=False)
    points = np.zeros((vertices, 2))
    points[vertex] = corner_xy
    vertex_label = np.zeros(vertices, np.int64)
    vertex_label[vertex] = label[cell_of]
    free = np.ones(count, bool)
    free[one] = free[other] = False
    rim = np.flatnonzero(free)
    return Cells(
        points=points,
        label=vertex_label,
        triangles=vertex[triangles].astype(np.int64),
        triangle_label=label[cell_of[triangles[:, 0]]],
        rim=np.column_stack([vertex[rim], vertex[following[rim]]]).astype(np.int64),
        rim_label=label[cell_of[rim]],
        panels=tuple(shapes[:panels]),
        sides=_sides(label, cell_of, one, other, side, panels, bends, zones),
        shapes=shapes,
        shape_label=label,
    )


def _rings(shape: Polygon) -> list[Floats]:
    import shapely

    return [shapely.get_coordinates(ring)[:-1] for ring in shapely.get_rings(shape)]


def _corners(outlines: Sequence[tuple[list[Floats], Ints | None]]) -> tuple[Floats, Ints, Ints, Ints]:
    """Return all cells' corners, the cell of each, the next corner along its ring, and triangles of corners."""
    from manifold3d import triangulate

    xy: list[Floats] = []
    cell_of: list[Ints] = []
    following: list[Ints] = []
    triangles: list[Ints] = []
    count = 0
    for number, (rings, known) in enumerate(outlines):
        triangles.append((np.asarray(triangulate(rings), np.int64) if known is None else known) + count)
        for ring in rings:
            size = len(ring)
            xy.append(ring)
            cell_of.append(np.full(size, number))
            chain = np.arange(count + 1, count + size + 1)
            chain[-1] = count
            following.append(chain)
            count += size
    return np.concatenate(xy), np.concatenate(cell_of), np.concatenate(following), np.concatenate(triangles)


def _side_of_edges(
    xy: Floats,
    following: Ints,
    edges: Ints,
    a: Ints,
    b: Ints,
    panels: int,
    bends: Sequence[FoldBend],
    zones: Sequence[FoldZone],
) -> Ints:
    """Return on which long side of its zone each edge shared with a panel lies: −1, +1, 0 for neither."""
    side = np.zeros(len(edges), np.int64)
    zone = np.maximum(a, b) - panels
    mixed = (np.minimum(a, b) < panels) & (zone >= 0)
    for number in np.unique(zone[mixed]).tolist():
        bend = bends[zones[number].bend]
        which = np.flatnonzero(mixed & (zone == number))
        y = np.column_stack([bend.here(xy[edges[which]])[:, 1], bend.here(xy[following[edges[which]]])[:, 1]])
        for sign in (-1, 1):
            side[which[(np.abs(y - sign * bend.half_mm) < ON_EDGE_MM).all(axis=1)]] = sign
    return side


def _sides(
    label: Ints,
    cell_of: Ints,
    one: Ints,
    other: Ints,
    side: Ints,
    panels: int,
    bends: Sequence[FoldBend],
    zones: Sequence[FoldZone],
) -> tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]:
    a, b = label[cell_of[one]], label[cell_of[other]]
    panel, zone = np.minimum(a, b), np.maximum(a, b) - panels
    found = []
    for number, z in enumerate(zones):
        both = [np.unique(panel[(zone == number) & (side == sign)]).tolist() for sign in (-1, 1)]
        bend = bends[z.bend]
        if not all(both):
            at = z.area.centroid
            why = f"nothing stands beyond bend {bend.number + 1}: the flange is shorter than the bend itself"
            raise NotFolded(why, (bend.number,), (float(at.x), float(at.y)))
        if set(both[0]) & set(both[1]):
            at = z.area.centroid
            why = f"bend {bend.number + 1} does not part the sheet: the same panel lies on both sides of it"
            raise NotFolded(why, (bend.number,), (float(at.x), float(at.y)))
        found.append((tuple(both[0]), tuple(both[1])))
    return tuple(found)
