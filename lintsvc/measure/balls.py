"""The largest ball that touches the surface at a point, inside the body or outside it.

Twice its radius is the wall's thickness there, or the gap's width. Only a contact with a surface
that looks the other way (normals at least 120 degrees apart) ends the ball: with every contact
counted, the side walls would be measured near each edge. A plate is exact at any tilt.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bvh import STACK, Bvh
from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.nearest import box_distance2, closest_on_triangle

#: Cosine between the normals at both ends of a wall, at most; a three-cornered post has just so much.
OPPOSED = -0.499

#: A ball that every contact ends is asked for where it may be as large as the part: it meets so many faces more.
_DEAR = 20

INSIDE = -1.0
OUTSIDE = 1.0


@dataclass(frozen=True, eq=False)
class Balls:
    """`width` (n,): twice the radius, or the cap. `contact` (n, 3): where the ball ends, meaningless at
    the cap. `face` (n,): the face there, -1 at the cap."""

    width: NDArray[np.float64]
    contact: NDArray[np.float64]
    face: NDArray[np.int32]


def balls(
    bvh: Bvh,
    points: NDArray[np.float64],
    normals: NDArray[np.float64],
    cap: float,
    side: float,
    opposed: float = OPPOSED,
    solids: tuple[NDArray[np.int32], NDArray[np.int32]] | None = None,
) -> Balls:
    """Measure at (n, 3) surface points with outward unit normals, widths up to `cap` mm.

    `side` is INSIDE for walls, OUTSIDE for gaps. `opposed`: the cosine that a contact's normal must
    not exceed; 1.0 counts every contact in front of the point. `solids`: of each face of the mesh, and of each
    point, which solid it bounds; only contacts with the same one count then.
    """
    count = len(points)
    found = Balls(np.empty(count), np.empty((count, 3)), np.empty(count, np.int32))
    tree = (bvh.boxes, bvh.directions, bvh.child, bvh.count, bvh.corners, bvh.normals, bvh.order)
    none = np.empty(0, np.int32)
    owner, own = (none, none) if solids is None else (solids[0][bvh.order], solids[1])
    results = (found.width, found.contact, found.face)
    dear = _DEAR if opposed >= 1 else 1
    in_parts(_balls, count, points, normals, cap / 2, side, opposed, owner, own, *tree, *results, dear=dear)
    return found


@compiled
def _balls(
    start: int,
    stop: int,
    points: Any,
    normals: Any,
    cap: float,
    side: float,
    opposed: float,
    owner: Any,
    own: Any,
    boxes: Any,
    directions: Any,
    child: Any,
    count: Any,
    corners: Any,
    leaf_normals: Any,
    order: Any,
    width: Any,
    contact: Any,
    face: Any,
) -> None:
    """Start with the cap's ball and shrink it to every opposed triangle that it holds a piece of."""
    stack = np.empty(STACK, np.int32)
    for i in range(start, stop):
        px = points[i, 0]
        py = points[i, 1]
        pz = points[i, 2]
        ox = normals[i, 0]
        oy = normals[i, 1]
        oz = normals[i, 2]
        nx = ox * side
        ny = oy * side
        nz = oz * side
        r = cap
        cx = px + nx * r
        cy = py + ny * r
        cz = pz + nz * r
        hit = -1
        hx = cx
        hy = cy
        hz = cz
        stack[0] = 0
        height = 1
        while height > 0:
            height -= 1
            node = stack[height]
            if box_distance2(boxes, node, cx, cy, cz) >= r * r:
                continue
            c = child[node]
            if count[node] == 0:
                r2 = r * r
                left = box_distance2(boxes, c, cx, cy, cz)
                right = box_distance2(boxes, c + 1, cx, cy, cz)
                take_left = left < r2 and _least_cosine(directions, c, ox, oy, oz) <= opposed
                take_right = right < r2 and _least_cosine(directions, c + 1, ox, oy, oz) <= opposed
                if take_left and take_right:
                    if left < right:
                        stack[height] = c + 1
                        stack[height + 1] = c
                    else:
                        stack[height] = c
                        stack[height + 1] = c + 1
                    height += 2
                elif take_left:
                    stack[height] = c
                    height += 1
                elif take_right:
                    stack[height] = c + 1
                    height += 1
                continue
            for q in range(c, c + count[node]):
                mx = leaf_normals[q, 0]
                my = leaf_normals[q, 1]
                mz = leaf_normals[q, 2]
                # A face without a direction (all zero) is no wall's other side.
                if mx * ox + my * oy + mz * oz > opposed or (mx == 0 and my == 0 and mz == 0):
                    continue
                if owner.shape[0] > 0 and owner[q] != own[i]:
                    continue
                # Where the face's plane is no nearer than the ball reaches, its nearest point is not, either.
                ahead = (corners[q, 0] - cx) * mx + (corners[q, 1] - cy) * my + (corners[q, 2] - cz) * mz
                if ahead * ahead >= r * r * (1 - 1e-12):
                    continue
                # The nearest point to the centre gives a smaller ball, which has another centre.
                for _ in range(40):
                    x, y, z = closest_on_triangle(cx, cy, cz, corners, q)
                    dx = x - cx
                    dy = y - cy
                    dz = z - cz
                    if dx * dx + dy * dy + dz * dz >= r * r * (1 - 1e-12):
                        break
                    dx = x - px
                    dy = y - py
                    dz = z - pz
                    ahead = 2 * (dx * nx + dy * ny + dz * nz)
                    if ahead <= 1e-12:
                        break
                    smaller = (dx * dx + dy * dy + dz * dz) / ahead
                    if smaller >= r * (1 - 1e-9):
                        break
                    r = smaller
                    hit = q
                    hx = x
                    hy = y
                    hz = z
                    cx = px + nx * r
                    cy = py + ny * r
                    cz = pz + nz * r
        width[i] = 2 * r
        contact[i, 0] = hx
        contact[i, 1] = hy
        contact[i, 2] = hz
        face[i] = order[hit] if hit >= 0 else -1


@compiled
def _least_cosine(directions: Any, node: int, x: float, y: float, z: float) -> Any:
    """The least cosine that a normal below the node can have with (x, y, z)."""
    return (
        min(directions[node, 0] * x, directions[node, 3] * x)
        + min(directions[node, 1] * y, directions[node, 4] * y)
        + min(directions[node, 2] * z, directions[node, 5] * z)
    )
