"""What else is near the middle of a thin place: is the ball really inside, is it a pin, is a rim close by?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bvh import STACK, Bvh
from lintsvc.measure.compiled import compiled, in_parts, inlined
from lintsvc.measure.nearest import box_distance2, closest_on_triangle

#: How far around the middle is looked, in radii of the ball.
REACH = 2.6
#: Up to this many times as wide across as thick, it is a pin or a post, no wall; a hole, no gap.
ROUND = 2.0
BROAD = 0.9
#: The ball may be cut by this share of its radius: facets beside the contact cut a little.
_CUT = 0.25
#: In a square pin every ball beside the middle is cut by a side, and is a pin's all the same.
_CUT_PIN = 0.75
#: Squared cosine of how squarely a surface at right angles must be met: 36 degrees.
_SQUARE2 = 0.65
#: A face whose normal is within 32 degrees of the ball's axis is one of the wall's own sides.
_ALIGNED = 0.85
#: A face beside the ball looks away from its axis by 53 degrees or more: a triangular pin has 60, and of the two
#: outside faces of a wall that bends by a right angle only one can have so much.
_BESIDE = 0.6
#: Directions told apart around the middle.
_SECTORS = 16


@dataclass(frozen=True, eq=False)
class Around:
    """For each ball: `inside` (n,) False where it sticks out through a side; `across` (n,) mm, the width
    at right angles to the measured one when that is at most REACH widths (a pin, a post, a round hole),
    else infinite; `along` (n, 3) the direction at right angles to both: of the pin or hole, where it is one;
    `rim` (n,) distance to the nearest surface at right angles, infinite beyond REACH radii."""

    inside: NDArray[np.bool_]
    across: NDArray[np.float64]
    along: NDArray[np.float64]
    rim: NDArray[np.float64]

    def is_round(self, width: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) whether the place is a pin or a hole: a wall is as wide as it likes across, a pin is not."""
        alike: NDArray[np.bool_] = self.across < ROUND * width
        return alike

    def is_broadside(self, width: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) whether it is narrower across than as measured: a flat place seen along its breadth."""
        narrower: NDArray[np.bool_] = self.across < BROAD * width
        return narrower


def look_around(
    bvh: Bvh, centres: NDArray[np.float64], directions: NDArray[np.float64], radii: NDArray[np.float64], side: float
) -> Around:
    """Look around (n, 3) centres of balls of (n,) radii that touch along (n, 3) unit directions.

    `side`: INSIDE for balls in the material, OUTSIDE for balls in the air.
    """
    count = len(centres)
    found = Around(np.empty(count, bool), np.empty(count), np.empty((count, 3)), np.empty(count))
    in_parts(
        _look,
        count,
        centres,
        directions,
        radii,
        side,
        bvh.boxes,
        bvh.directions,
        bvh.child,
        bvh.count,
        bvh.corners,
        bvh.normals,
        found.inside,
        found.across,
        found.along,
        found.rim,
    )
    return found


@compiled
def _look(
    start: int,
    stop: int,
    centres: Any,
    directions: Any,
    radii: Any,
    side: float,
    boxes: Any,
    box_normals: Any,
    child: Any,
    count: Any,
    corners: Any,
    leaf_normals: Any,
    inside: Any,
    across: Any,
    along: Any,
    rim: Any,
) -> None:
    """Visit every triangle in reach; keep the nearest by direction around the ball's axis."""
    stack = np.empty(STACK, np.int32)
    nearest = np.empty(_SECTORS)
    for i in range(start, stop):
        x = centres[i, 0]
        y = centres[i, 1]
        z = centres[i, 2]
        nx = directions[i, 0]
        ny = directions[i, 1]
        nz = directions[i, 2]
        # Two directions at right angles to the axis.
        if abs(nx) < 0.6:
            ux = 0.0
            uy = nz
            uz = -ny
        else:
            ux = -nz
            uy = 0.0
            uz = nx
        length = np.sqrt(ux * ux + uy * uy + uz * uz)
        ux /= length
        uy /= length
        uz /= length
        vx = ny * uz - nz * uy
        vy = nz * ux - nx * uz
        vz = nx * uy - ny * ux
        reach2 = (REACH * radii[i]) ** 2
        # Nearer than this a surface cuts the ball; the ball's own two sides are farther, and seldom looked at.
        near2 = ((1 - _CUT) * radii[i]) ** 2
        least2 = near2
        nearest[:] = np.inf
        shortest = np.inf
        stack[0] = 0
        height = 1
        while height > 0:
            height -= 1
            node = stack[height]
            d2 = box_distance2(boxes, node, x, y, z)
            if d2 >= reach2 or (d2 >= near2 and _all_aligned(box_normals, node, nx, ny, nz)):
                continue
            c = child[node]
            if count[node] == 0:
                stack[height] = c
                stack[height + 1] = c + 1
                height += 2
                continue
            # So far off nothing cuts the ball: only faces that are met squarely at right angles to the axis count.
            far2 = d2 if d2 >= near2 else 0.0
            for q in range(c, c + count[node]):
                lean = abs(leaf_normals[q, 0] * nx + leaf_normals[q, 1] * ny + leaf_normals[q, 2] * nz)
                if far2 > 0:
                    # The distance to the face's plane tells before its nearest point is known; a hair for rounding.
                    facing = -side * (
                        (corners[q, 0] - x) * leaf_normals[q, 0]
                        + (corners[q, 1] - y) * leaf_normals[q, 1]
                        + (corners[q, 2] - z) * leaf_normals[q, 2]
                    )
                    if lean > _ALIGNED or facing < -1e-6 or facing * facing < _SQUARE2 * far2 * (1 - 1e-6):
                        continue
                a, b, d = closest_on_triangle(x, y, z, corners, q)
                a -= x
                b -= y
                d -= z
                d2 = a * a + b * b + d * d
                if d2 >= reach2:
                    continue
                least2 = min(least2, d2)
                ahead = a * ux + b * uy + d * uz
                beside = a * vx + b * vy + d * vz
                flat2 = ahead * ahead + beside * beside
                # At right angles to the axis, within 45 degrees, and a face that is met squarely:
                # a wall's own sides, further along, are not.
                facing = -side * (a * leaf_normals[q, 0] + b * leaf_normals[q, 1] + d * leaf_normals[q, 2])
                if flat2 * 2 < d2 or flat2 == 0 or facing < 0 or facing * facing < _SQUARE2 * d2:
                    continue
                if lean > _ALIGNED:
                    continue
                shortest = min(shortest, np.sqrt(d2))
                if lean > _BESIDE:
                    continue
                turn = np.arctan2(beside, ahead) / (2 * np.pi) + 0.5
                sector = int(turn * _SECTORS) % _SECTORS
                nearest[sector] = min(nearest[sector], np.sqrt(d2))
        width = np.inf
        way = 0.0
        for s in range(_SECTORS):
            for turn in range(_SECTORS // 2 - 1, _SECTORS // 2 + 2):
                both = nearest[s] + nearest[(s + turn) % _SECTORS]
                if both < width:
                    width = both
                    # Half way between the one direction and the opposite of the other.
                    way = s + 0.5 * (turn - _SECTORS // 2)
        angle = ((way + 0.5) / _SECTORS - 0.5) * 2 * np.pi
        # At right angles to the way across, in the plane at right angles to the axis.
        for k in range(3):
            u = ux if k == 0 else (uy if k == 1 else uz)
            v = vx if k == 0 else (vy if k == 1 else vz)
            along[i, k] = v * np.cos(angle) - u * np.sin(angle)
        rim[i] = shortest
        across[i] = width
        cut = _CUT_PIN if width < 2 * ROUND * radii[i] else _CUT
        inside[i] = least2 >= ((1 - cut) * radii[i]) ** 2


@inlined
def _all_aligned(box_normals: Any, node: int, x: float, y: float, z: float) -> Any:
    """Whether all normals below a node are the wall's own: none is at right angles to (x, y, z)."""
    low = (
        min(box_normals[node, 0] * x, box_normals[node, 3] * x)
        + min(box_normals[node, 1] * y, box_normals[node, 4] * y)
        + min(box_normals[node, 2] * z, box_normals[node, 5] * z)
    )
    high = (
        max(box_normals[node, 0] * x, box_normals[node, 3] * x)
        + max(box_normals[node, 1] * y, box_normals[node, 4] * y)
        + max(box_normals[node, 2] * z, box_normals[node, 5] * z)
    )
    return low > _ALIGNED or high < -_ALIGNED
