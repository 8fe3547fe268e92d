"""Points, triangles and boxes: the small steps that the walks through the tree share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bvh import STACK, Bvh
from lintsvc.measure.compiled import compiled, in_parts, inlined


@inlined
def box_distance2(boxes: Any, node: int, x: float, y: float, z: float) -> Any:
    """Squared distance from a point to a node's box."""
    dx = max(max(boxes[node, 0] - x, 0.0), x - boxes[node, 3])
    dy = max(max(boxes[node, 1] - y, 0.0), y - boxes[node, 4])
    dz = max(max(boxes[node, 2] - z, 0.0), z - boxes[node, 5])
    return dx * dx + dy * dy + dz * dz


@compiled
def closest_on_triangle(px: float, py: float, pz: float, corners: Any, q: int) -> Any:
    """Nearest point of triangle q to p.

    By the regions of the triangle's corners, edges and inside: C. Ericson, "Real-Time Collision
    Detection", 2005, section 5.1.5.
    """
    ax = corners[q, 0]
    ay = corners[q, 1]
    az = corners[q, 2]
    abx = corners[q, 3] - ax
    aby = corners[q, 4] - ay
    abz = corners[q, 5] - az
    acx = corners[q, 6] - ax
    acy = corners[q, 7] - ay
    acz = corners[q, 8] - az
    apx = px - ax
    apy = py - ay
    apz = pz - az
    ab_p = abx * apx + aby * apy + abz * apz
    ac_p = acx * apx + acy * apy + acz * apz
    if ab_p <= 0 and ac_p <= 0:
        return ax, ay, az
    ab2 = abx * abx + aby * aby + abz * abz
    ac2 = acx * acx + acy * acy + acz * acz
    ab_ac = abx * acx + aby * acy + abz * acz
    # The same two products with b and c in place of a.
    ab_b = ab_p - ab2
    ac_b = ac_p - ab_ac
    if ab_b >= 0 and ac_b <= ab_b:
        return ax + abx, ay + aby, az + abz
    w_c = ab_p * ac_b - ab_b * ac_p
    if w_c <= 0 and ab_p >= 0 and ab_b <= 0 and ab2 > 0:
        t = ab_p / ab2
        return ax + t * abx, ay + t * aby, az + t * abz
    ab_c = ab_p - ab_ac
    ac_c = ac_p - ac2
    if ac_c >= 0 and ab_c <= ac_c:
        return ax + acx, ay + acy, az + acz
    w_b = ab_c * ac_p - ab_p * ac_c
    if w_b <= 0 and ac_p >= 0 and ac_c <= 0 and ac2 > 0:
        t = ac_p / ac2
        return ax + t * acx, ay + t * acy, az + t * acz
    w_a = ab_b * ac_c - ab_c * ac_b
    if w_a <= 0 and ac_b - ab_b >= 0 and ab_c - ac_c >= 0:
        s = (ac_b - ab_b) + (ab_c - ac_c)
        t = (ac_b - ab_b) / s if s > 0 else 0.0
        return ax + abx + t * (acx - abx), ay + aby + t * (acy - aby), az + abz + t * (acz - abz)
    s = w_a + w_b + w_c
    if s == 0:
        return ax, ay, az
    v = w_b / s
    w = w_c / s
    return ax + v * abx + w * acx, ay + v * aby + w * acy, az + v * abz + w * acz


@dataclass(frozen=True, eq=False)
class Nearest:
    """`distance` (n,) to the surface, `place` (n, 3) on it, `face` (n,) there; -1 where nothing is near enough."""

    distance: NDArray[np.float64]
    place: NDArray[np.float64]
    face: NDArray[np.int32]


def nearest(
    bvh: Bvh, points: NDArray[np.float64], within: NDArray[np.float64], enough: NDArray[np.float64] | None = None
) -> Nearest:
    """Find the surface nearest to each of (n, 3) points.

    Only looks `within` (n,) mm of each point: farther gives that distance, the point itself and face -1.
    `enough` (n,): what is as near as that will do, whether there is something nearer or not.
    """
    count = len(points)
    found = Nearest(np.empty(count), points.copy(), np.empty(count, np.int32))
    tree = (bvh.boxes, bvh.child, bvh.count, bvh.corners, bvh.order)
    enough = np.zeros(count) if enough is None else enough
    in_parts(walk_nearest, count, points, within, enough, *tree, found.distance, found.place, found.face)
    return found


@compiled
def walk_nearest(
    start: int,
    stop: int,
    points: Any,
    within: Any,
    enough: Any,
    boxes: Any,
    child: Any,
    count: Any,
    corners: Any,
    order: Any,
    distance: Any,
    place: Any,
    face: Any,
) -> None:
    """What `nearest` does, for points from `start` to `stop`: the nearer child is walked first."""
    stack = np.empty(STACK, np.int32)
    for i in range(start, stop):
        x = points[i, 0]
        y = points[i, 1]
        z = points[i, 2]
        best = within[i] * within[i]
        will_do = enough[i] * enough[i]
        found = -1
        stack[0] = 0
        height = 1
        while height > 0 and best > will_do:
            height -= 1
            node = stack[height]
            if box_distance2(boxes, node, x, y, z) >= best:
                continue
            c = child[node]
            if count[node] == 0:
                near = box_distance2(boxes, c, x, y, z)
                far = box_distance2(boxes, c + 1, x, y, z)
                if near <= far:
                    stack[height] = c + 1
                    stack[height + 1] = c
                else:
                    stack[height] = c
                    stack[height + 1] = c + 1
                height += 2
            else:
                for q in range(c, c + count[node]):
                    a, b, d = closest_on_triangle(x, y, z, corners, q)
                    d2 = (a - x) * (a - x) + (b - y) * (b - y) + (d - z) * (d - z)
                    if d2 < best:
                        best = d2
                        found = q
                        place[i, 0] = a
                        place[i, 1] = b
                        place[i, 2] = d
        distance[i] = np.sqrt(best)
        face[i] = order[found] if found >= 0 else -1
