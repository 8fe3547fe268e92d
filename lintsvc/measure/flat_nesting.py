"""Which loop lies in which."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_segments import box_pairs
from lintsvc.measure.flat_weld import Floats, Ints
from lintsvc.measure.inner_points import inner_points


def nesting(
    area: Floats,
    low: Floats,
    high: Floats,
    shapes: NDArray[np.object_],
    shape_of: Ints,
    centre: Floats,
    radius: Floats,
    meeting: Ints,
) -> tuple[Ints, Ints]:
    """Return (smallest loop around each, −1 for none; how many loops are around each).

    All of the n loops by area and box `low`, `high` (n, 2); a loop is the polygon shapes[shape_of], or,
    where that is −1, the circle of `centre` and `radius`. `meeting` (m, 2): loops that cross or touch; of
    them one lies in the other when more than half of it does. Raises TooTangled for nesting without end.
    """
    import shapely

    count = len(area)
    parent, depth = np.full(count, -1), np.zeros(count, np.int64)
    if count < 2:
        return parent, depth
    shapes = shapes.copy()
    wrong = ~shapely.is_valid(shapes)
    shapes[wrong] = shapely.make_valid(shapes[wrong])
    inside = centre.copy()
    runs = np.flatnonzero(shape_of >= 0)
    if len(runs):
        inside[runs] = shapely.get_coordinates(inner_points(shapes[shape_of[runs]]))
    doubtful = {(a, b) for x in meeting.tolist() for a, b in (x, x[::-1])}

    def polygon(k: int) -> Any:
        if shape_of[k] < 0:
            return shapely.Point(centre[k]).buffer(radius[k], quad_segs=32)
        return shapes[shape_of[k]]

    tree = shapely.STRtree(np.asarray(shapely.points(inside)))
    boxes = np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    pairs = []
    for outer, inner in box_pairs(tree, boxes):
        # Of two loops only the larger can be around the other; equal ones go by order.
        larger = (area[outer] > area[inner]) | ((area[outer] == area[inner]) & (outer < inner))
        outer, inner = outer[larger], inner[larger]
        holds = np.hypot(*(inside[inner] - centre[outer]).T) < radius[outer]
        by_shape = np.flatnonzero(shape_of[outer] >= 0)
        order = by_shape[np.argsort(outer[by_shape], kind="stable")]
        starts = np.flatnonzero(np.diff(outer[order], prepend=-1))
        for group in np.split(order, starts[1:]) if len(order) else ():
            shape = shapes[shape_of[outer[group[0]]]]
            shapely.prepare(shape)
            holds[group] = shapely.contains_xy(shape, inside[inner[group], 0], inside[inner[group], 1])
        pairs.append(np.column_stack([inner[holds], outer[holds]]))
    found = np.concatenate(pairs)
    if doubtful:
        found = found[[(a, b) not in doubtful for a, b in found.tolist()]].reshape(-1, 2)
        decided = []
        for inner_one, outer_one in sorted(doubtful):
            if area[outer_one] > area[inner_one] or (area[outer_one] == area[inner_one] and outer_one < inner_one):
                part, whole = polygon(inner_one), polygon(outer_one)
                if 2 * shapely.intersection(part, whole).area > part.area:
                    decided.append((inner_one, outer_one))
        found = np.concatenate([found, np.array(decided, np.int64).reshape(-1, 2)])
    depth = np.bincount(found[:, 0], minlength=count)
    found = found[np.lexsort([area[found[:, 1]], found[:, 0]])]
    first = np.flatnonzero(np.diff(found[:, 0], prepend=-1))
    parent[found[first, 0]] = found[first, 1]
    return parent, depth
