"""Do two triangles go through each other, or lie on each other?

Method: T. Möller, "A Fast Triangle-Triangle Intersection Test", 1997, with the corners that both share
taken as exactly on both planes. Touching (a corner or an edge that ends on the other face) is neither, but
a surface may go through another exactly at one of its edges: then no face of it does, and yet both cross.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled, inlined

#: What `contact` says.
APART = 0
CROSSING = 1
#: On each other in one plane, facing the same way, or opposite ways.
ON_TOP = 2
BACK_TO_BACK = 3
#: An edge of the first, or the second, lies in the other's plane: plus the number of the corner off that plane.
EDGE_OF_FIRST = 10
EDGE_OF_SECOND = 20


@inlined
def _reach(p: Any, i: int, normal: Any, j: int, q: Any, shared: int, distance: Any) -> Any:
    """Fill in how far the corners of triangle i of p lie before the plane of triangle j; return least and most.

    Corner k counts as on the plane when bit k of `shared` is set.
    """
    least = 0.0
    most = 0.0
    for k in range(3):
        d = 0.0
        if not (shared >> k) & 1:
            d = (
                (p[i, 3 * k] - q[j, 0]) * normal[j, 0]
                + (p[i, 3 * k + 1] - q[j, 1]) * normal[j, 1]
                + (p[i, 3 * k + 2] - q[j, 2]) * normal[j, 2]
            )
        distance[k] = d
        least = min(least, d)
        most = max(most, d)
    return least, most


@inlined
def _cut(p: Any, i: int, axis: int, distance: Any) -> Any:
    """Return where the plane cuts triangle i, as a range along one axis."""
    low = np.inf
    high = -np.inf
    for k in range(3):
        m = (k + 1) % 3
        a = distance[k]
        b = distance[m]
        if a == 0.0:
            x = p[i, 3 * k + axis]
            low = min(low, x)
            high = max(high, x)
        elif (a < 0.0 and b > 0.0) or (a > 0.0 and b < 0.0):
            x = p[i, 3 * k + axis] + (p[i, 3 * m + axis] - p[i, 3 * k + axis]) * (a / (a - b))
            low = min(low, x)
            high = max(high, x)
    return low, high


@inlined
def _overlap_in_plane(
    p: Any, i: int, j: int, shared_i: int, shared_j: int, nx: float, ny: float, nz: float, slack: float
) -> float:
    """Return how deep triangles i and j overlap, both taken to lie in the plane of the given normal.

    Separating axes: the least overlap over the six directions across an edge; the first that is no more than
    `slack` ends the search. Triangles with a common corner are parted, if at all, across an edge at it, and
    those with a common edge across that one: such edges come first.
    """
    least = np.inf
    for turn in range(2):
        for side in range(2):
            t = i if side == 0 else j
            shared = shared_i if side == 0 else shared_j
            for k in range(3):
                m = (k + 1) % 3
                ends = ((shared >> k) & 1) + ((shared >> m) & 1)
                common = ends == 2 or (ends == 1 and shared & (shared - 1) == 0)
                if common != (turn == 0):
                    continue
                ex = p[t, 3 * m] - p[t, 3 * k]
                ey = p[t, 3 * m + 1] - p[t, 3 * k + 1]
                ez = p[t, 3 * m + 2] - p[t, 3 * k + 2]
                ax = ny * ez - nz * ey
                ay = nz * ex - nx * ez
                az = nx * ey - ny * ex
                length = np.sqrt(ax * ax + ay * ay + az * az)
                if length == 0.0:
                    return -np.inf
                low_i = np.inf
                high_i = -np.inf
                low_j = np.inf
                high_j = -np.inf
                for c in range(3):
                    # From a corner of i, so that nothing is lost far from the origin.
                    x = (
                        ax * (p[i, 3 * c] - p[i, 0])
                        + ay * (p[i, 3 * c + 1] - p[i, 1])
                        + az * (p[i, 3 * c + 2] - p[i, 2])
                    ) / length
                    low_i = min(low_i, x)
                    high_i = max(high_i, x)
                    x = (
                        ax * (p[j, 3 * c] - p[i, 0])
                        + ay * (p[j, 3 * c + 1] - p[i, 1])
                        + az * (p[j, 3 * c + 2] - p[i, 2])
                    ) / length
                    low_j = min(low_j, x)
                    high_j = max(high_j, x)
                least = min(least, min(high_i, high_j) - max(low_i, low_j))
                if least <= slack:
                    return least
    return least


@inlined
def _corner(bits: int) -> int:
    """The number of the only bit of three that is set."""
    return 0 if bits == 1 else 1 if bits == 2 else 2


@inlined
def _outside(p: Any, i: int, normal: Any, j: int, s: int, q: int, slack: float) -> bool:
    """True when the two other corners of triangle j lie on one side of triangle i, or outside across an edge of it.

    `s`, `q`: the number of the common corner in i and in j.
    """
    x = p[i, 3 * s]
    y = p[i, 3 * s + 1]
    z = p[i, 3 * s + 2]
    a = 3 * ((q + 1) % 3)
    b = 3 * ((q + 2) % 3)
    ax = p[j, a] - x
    ay = p[j, a + 1] - y
    az = p[j, a + 2] - z
    bx = p[j, b] - x
    by = p[j, b + 1] - y
    bz = p[j, b + 2] - z
    nx = normal[i, 0]
    ny = normal[i, 1]
    nz = normal[i, 2]
    da = nx * ax + ny * ay + nz * az
    db = nx * bx + ny * by + nz * bz
    if (da > slack and db > slack) or (da < -slack and db < -slack):
        return True
    # Across the edge that leaves the corner, then across the one that comes to it.
    for turn in range(2):
        k = 3 * ((s + 1 + turn) % 3)
        ex = p[i, k] - x
        ey = p[i, k + 1] - y
        ez = p[i, k + 2] - z
        ix = ny * ez - nz * ey
        iy = nz * ex - nx * ez
        iz = nx * ey - ny * ex
        da = ix * ax + iy * ay + iz * az
        db = ix * bx + iy * by + iz * bz
        most = max(da, db) if turn == 0 else max(-da, -db)
        if most <= 0.0 or most * most <= slack * slack * (ex * ex + ey * ey + ez * ez):
            return True
    return False


@inlined
def parted(p: Any, i: int, normal: Any, j: int, shared_i: int, shared_j: int, same: int, slack: float) -> Any:
    """Return True for triangles with one or two common corners that have nothing else in common: nearly all of them.

    Cheaper than `contact`, which decides the rest.
    """
    if same == 1:
        s = _corner(shared_i)
        q = _corner(shared_j)
        return _outside(p, i, normal, j, s, q, slack) or _outside(p, j, normal, i, q, s, slack)
    # Two common corners: apart when the other two lie on opposite sides of the edge between, seen along it.
    s = _corner(7 - shared_i)
    q = 3 * _corner(7 - shared_j)
    a = 3 * ((s + 1) % 3)
    b = 3 * ((s + 2) % 3)
    s *= 3
    ex = p[i, b] - p[i, a]
    ey = p[i, b + 1] - p[i, a + 1]
    ez = p[i, b + 2] - p[i, a + 2]
    ux = p[i, s] - p[i, a]
    uy = p[i, s + 1] - p[i, a + 1]
    uz = p[i, s + 2] - p[i, a + 2]
    vx = p[j, q] - p[i, a]
    vy = p[j, q + 1] - p[i, a + 1]
    vz = p[j, q + 2] - p[i, a + 2]
    return (ux * vx + uy * vy + uz * vz) * (ex * ex + ey * ey + ez * ez) <= (ux * ex + uy * ey + uz * ez) * (
        vx * ex + vy * ey + vz * ez
    )


@inlined
def _edge_in_plane(distance: Any, slack: float, kind: int) -> int:
    """Return `kind` and the corner off the plane where the other two are on it, else APART."""
    on = 0
    off = 0
    for k in range(3):
        if abs(distance[k]) <= slack:
            on += 1
        else:
            off = k
    return kind + off if on == 2 else APART


@compiled
def through_edge(p: Any, normal: Any, i: int, j: int, off: int, tip: Any, slack: float) -> float:
    """Return how deep a surface goes through triangle i at the edge of triangle j across from its corner `off`.

    `tip`: the corner of the face on the other side of that edge. 0 where both faces are on one side, or the
    edge does not run through the inside of triangle i.
    """
    mine = 0.0
    its = 0.0
    for k in range(3):
        mine += (p[j, 3 * off + k] - p[i, k]) * normal[i, k]
        its += (tip[k] - p[i, k]) * normal[i, k]
    if mine * its >= 0.0 or abs(its) <= slack:
        return 0.0
    a = 3 * ((off + 1) % 3)
    b = 3 * ((off + 2) % 3)
    first = 0.0
    last = 1.0
    for k in range(3):
        m = (k + 1) % 3
        ex = p[i, 3 * m] - p[i, 3 * k]
        ey = p[i, 3 * m + 1] - p[i, 3 * k + 1]
        ez = p[i, 3 * m + 2] - p[i, 3 * k + 2]
        length = np.sqrt(ex * ex + ey * ey + ez * ez)
        # Inward, in the plane.
        x = (normal[i, 1] * ez - normal[i, 2] * ey) / length
        y = (normal[i, 2] * ex - normal[i, 0] * ez) / length
        z = (normal[i, 0] * ey - normal[i, 1] * ex) / length
        at_a = (p[j, a] - p[i, 3 * k]) * x + (p[j, a + 1] - p[i, 3 * k + 1]) * y + (p[j, a + 2] - p[i, 3 * k + 2]) * z
        at_b = (p[j, b] - p[i, 3 * k]) * x + (p[j, b + 1] - p[i, 3 * k + 1]) * y + (p[j, b + 2] - p[i, 3 * k + 2]) * z
        at_a -= slack
        at_b -= slack
        if at_a <= 0.0 and at_b <= 0.0:
            return 0.0
        if at_a < 0.0:
            first = max(first, at_a / (at_a - at_b))
        elif at_b < 0.0:
            last = min(last, at_a / (at_a - at_b))
    x = p[j, b] - p[j, a]
    y = p[j, b + 1] - p[j, a + 1]
    z = p[j, b + 2] - p[j, a + 2]
    if (last - first) * np.sqrt(x * x + y * y + z * z) <= slack:
        return 0.0
    return min(abs(mine), abs(its))


@compiled
def contact(p: Any, normal: Any, i: int, j: int, shared_i: int, shared_j: int, slack: float, scratch: Any) -> Any:
    """Compare triangles i and j of `p` (rows of nine coordinates) with unit normals `normal`.

    `shared_i`, `shared_j`: bits of the corners that are one vertex of the mesh. `scratch`: (2, 3).
    Returns what they do, and how far they reach through or over each other, mm: more than `slack`. Where
    they are apart but for an edge in the other's plane, `EDGE_OF_…` says which; `through_edge` tells more.
    """
    least_j, most_j = _reach(p, j, normal, i, p, shared_j, scratch[1])
    flat = -least_j <= slack and most_j <= slack
    if not flat and (-least_j <= slack or most_j <= slack):
        return _edge_in_plane(scratch[1], slack, EDGE_OF_SECOND), 0.0
    least_i = 0.0
    most_i = 0.0
    flat_i = False
    if not flat:
        least_i, most_i = _reach(p, i, normal, j, p, shared_i, scratch[0])
        flat_i = -least_i <= slack and most_i <= slack
    if flat or flat_i:
        # Measured in the plane that the other one lies in.
        t = i if flat else j
        depth = _overlap_in_plane(p, i, j, shared_i, shared_j, normal[t, 0], normal[t, 1], normal[t, 2], slack)
        if depth <= slack:
            return APART, 0.0
        alike = normal[i, 0] * normal[j, 0] + normal[i, 1] * normal[j, 1] + normal[i, 2] * normal[j, 2]
        return (ON_TOP, depth) if alike > 0.0 else (BACK_TO_BACK, depth)
    if -least_i <= slack or most_i <= slack:
        return _edge_in_plane(scratch[0], slack, EDGE_OF_FIRST), 0.0
    x = abs(normal[i, 1] * normal[j, 2] - normal[i, 2] * normal[j, 1])
    y = abs(normal[i, 2] * normal[j, 0] - normal[i, 0] * normal[j, 2])
    z = abs(normal[i, 0] * normal[j, 1] - normal[i, 1] * normal[j, 0])
    axis = 0
    if y > x:
        axis = 1
    if z > max(x, y):
        axis = 2
    low_i, high_i = _cut(p, i, axis, scratch[0])
    low_j, high_j = _cut(p, j, axis, scratch[1])
    if min(high_i, high_j) - max(low_i, low_j) <= slack:
        return APART, 0.0
    return CROSSING, min(-least_i, most_i, -least_j, most_j)
