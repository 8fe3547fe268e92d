"""How often closed shells wind around a point: a ray is followed and its crossings counted."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.bvh import STACK
from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.mesh import Floats, Ints, Mesh

#: Directions tried until a ray meets no edge: no plane, axis or diagonal of a usual part is parallel to them.
_DIRECTIONS = np.array(
    [
        [0.6179, 0.3721, 0.6926],
        [-0.2713, 0.8839, 0.3808],
        [0.4657, -0.5501, 0.6932],
        [0.1373, 0.2239, -0.9649],
        [-0.7411, -0.4793, -0.4701],
        [0.9137, -0.3583, -0.1919],
    ]
)
#: So many branches of the tree are visited for all points together; a ray through a part needs about 100.
_MOST_VISITED = 20_000_000


def winding(mesh: Mesh, points: Floats, own: Ints, label: Ints, weight: Floats) -> Floats:
    """Return (k,) how often the shells of a mesh wind around (k, 3) points, but for the shell `own` of each.

    `label`: (m,) the shell of each face. `weight`: (m,) what crossing a face from within counts; 0 leaves it out.
    NaN where it was given up: thousands of shells within each other make every ray cross them all.
    """
    tree = mesh.bvh
    ways = _DIRECTIONS / np.linalg.norm(_DIRECTIONS, axis=1)[:, None]
    total = np.empty(len(points))
    nodes = (tree.boxes, tree.child, tree.count, tree.order, tree.corners)
    # Counted by all threads together, roughly: an addition lost now and then does not matter.
    visited = np.zeros(1, np.int64)
    in_parts(_wind, len(points), points, ways, own, label, weight, *nodes, visited, _MOST_VISITED, total)
    return total


@compiled
def _wind(
    start: int,
    stop: int,
    points: Any,
    ways: Any,
    own: Any,
    label: Any,
    weight: Any,
    boxes: Any,
    child: Any,
    count: Any,
    order: Any,
    corners: Any,
    visited: Any,
    most: int,
    total: Any,
) -> None:
    """Fill in how often the shells other than `own` wind around each point, along the first way that meets no edge."""
    for i in range(start, stop):
        total[i] = np.nan
        for w in range(ways.shape[0]):
            if visited[0] > most:
                break
            total[i], sure, nodes = _cross(
                points[i], ways[w], own[i], label, weight, boxes, child, count, order, corners
            )
            visited[0] += nodes
            if sure:
                break


@compiled
def _cross(
    point: Any,
    way: Any,
    own: int,
    label: Any,
    weight: Any,
    boxes: Any,
    child: Any,
    count: Any,
    order: Any,
    corners: Any,
) -> Any:
    """Follow a ray and add up, by weight, the faces of other shells that it leaves minus those that it enters.

    Returns the sum; False where the ray comes so near an edge that the sum may be wrong; branches visited.
    """
    visited = 0
    total = 0.0
    sure = True
    stack = np.empty(STACK, np.int32)
    stack[0] = 0
    height = 1
    while height > 0:
        height -= 1
        node = stack[height]
        visited += 1
        near = 0.0
        far = np.inf
        for k in range(3):
            one = (boxes[node, k] - point[k]) / way[k]
            two = (boxes[node, k + 3] - point[k]) / way[k]
            near = max(near, min(one, two))
            far = min(far, max(one, two))
        if near > far * (1.0 + 1e-6) + 1e-12:
            continue
        c = child[node]
        if count[node] == 0:
            stack[height] = c
            stack[height + 1] = c + 1
            height += 2
            continue
        for q in range(c, c + count[node]):
            f = order[q]
            if label[f] == own or weight[f] == 0.0:
                continue
            ex = corners[q, 3] - corners[q, 0]
            ey = corners[q, 4] - corners[q, 1]
            ez = corners[q, 5] - corners[q, 2]
            gx = corners[q, 6] - corners[q, 0]
            gy = corners[q, 7] - corners[q, 1]
            gz = corners[q, 8] - corners[q, 2]
            hx = way[1] * gz - way[2] * gy
            hy = way[2] * gx - way[0] * gz
            hz = way[0] * gy - way[1] * gx
            det = ex * hx + ey * hy + ez * hz
            if det == 0.0:
                continue
            sx = point[0] - corners[q, 0]
            sy = point[1] - corners[q, 1]
            sz = point[2] - corners[q, 2]
            u = (sx * hx + sy * hy + sz * hz) / det
            qx = sy * ez - sz * ey
            qy = sz * ex - sx * ez
            qz = sx * ey - sy * ex
            v = (way[0] * qx + way[1] * qy + way[2] * qz) / det
            least = min(u, v, 1.0 - u - v)
            if least < -1e-9:
                continue
            t = (gx * qx + gy * qy + gz * qz) / det
            if t < 0.0:
                continue
            if least < 1e-9:
                sure = False
            # det = -(way . normal): negative where the ray leaves.
            total += weight[f] if det < 0.0 else -weight[f]
    return total, sure, visited
