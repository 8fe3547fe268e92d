"""Where a ray first meets the surface."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.bvh import STACK, Bvh
from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.mesh import Floats, Ints


def first_hits(bvh: Bvh, points: Floats, ways: Floats, within: Floats | None = None) -> tuple[Floats, Ints]:
    """Distance (n,) from (n, 3) points along (n, 3) unit vectors to the first face, either side of it; and the face.

    `within` (n,): how far is looked. That, or infinite, and -1 where there is none.
    """
    distance = np.full(len(points), np.inf) if within is None else within.copy()
    face = np.empty(len(points), np.int32)
    tree = (bvh.boxes, bvh.child, bvh.count, bvh.corners, bvh.order)
    in_parts(_first, len(points), points, ways, *tree, distance, face)
    return distance, face


@compiled
def _first(
    start: int,
    stop: int,
    points: Any,
    ways: Any,
    boxes: Any,
    child: Any,
    count: Any,
    corners: Any,
    order: Any,
    distance: Any,
    face: Any,
) -> None:
    """T. Möller and B. Trumbore, "Fast, Minimum Storage Ray/Triangle Intersection", 1997, for the triangles."""
    stack = np.empty(STACK, np.int32)
    inverse = np.empty(3)
    for i in range(start, stop):
        for k in range(3):
            inverse[k] = 1 / ways[i, k]
        best = distance[i]
        hit = -1
        stack[0] = 0
        height = 1
        while height > 0:
            height -= 1
            node = stack[height]
            near = 0.0
            far = best
            for k in range(3):
                if ways[i, k] == 0:
                    if points[i, k] < boxes[node, k] or points[i, k] > boxes[node, k + 3]:
                        near = np.inf
                    continue
                one = (boxes[node, k] - points[i, k]) * inverse[k]
                two = (boxes[node, k + 3] - points[i, k]) * inverse[k]
                near = max(near, min(one, two))
                far = min(far, max(one, two))
            if near > far * (1 + 1e-6) + 1e-12:
                continue
            c = child[node]
            if count[node] == 0:
                stack[height] = c
                stack[height + 1] = c + 1
                height += 2
                continue
            for q in range(c, c + count[node]):
                ex = corners[q, 3] - corners[q, 0]
                ey = corners[q, 4] - corners[q, 1]
                ez = corners[q, 5] - corners[q, 2]
                gx = corners[q, 6] - corners[q, 0]
                gy = corners[q, 7] - corners[q, 1]
                gz = corners[q, 8] - corners[q, 2]
                hx = ways[i, 1] * gz - ways[i, 2] * gy
                hy = ways[i, 2] * gx - ways[i, 0] * gz
                hz = ways[i, 0] * gy - ways[i, 1] * gx
                det = ex * hx + ey * hy + ez * hz
                if det == 0.0:
                    continue
                sx = points[i, 0] - corners[q, 0]
                sy = points[i, 1] - corners[q, 1]
                sz = points[i, 2] - corners[q, 2]
                u = (sx * hx + sy * hy + sz * hz) / det
                qx = sy * ez - sz * ey
                qy = sz * ex - sx * ez
                qz = sx * ey - sy * ex
                v = (ways[i, 0] * qx + ways[i, 1] * qy + ways[i, 2] * qz) / det
                # A hair over the edge still counts: a ray must not slip between two faces.
                if u < -1e-9 or v < -1e-9 or u + v > 1 + 1e-9:
                    continue
                t = (gx * qx + gy * qy + gz * qz) / det
                if 0 <= t < best:
                    best = t
                    hit = q
        distance[i] = best
        face[i] = order[hit] if hit >= 0 else -1
