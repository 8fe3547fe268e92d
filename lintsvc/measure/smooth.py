"""The curved surface that coarse facets stand for, and widths corrected to it.

The corners of the facets of a curved surface lie on it, their middles lie beside it by the chord
error, and their normals are off by half the angle to the next facet. A rod of 32 facets measures
up to 5 % thin between facets. Here a point and a normal are moved to the surface that bends
through the corners: normals at a corner are averaged over the faces that meet there smoothly, and a
point is lifted half way to the tangent planes of its corners (after T. Boubekeur and M. Alexa,
"Phong Tessellation", 2008, with the factor 1/2 that is exact to second order on an arc).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lintsvc.measure.balls import Balls
from lintsvc.measure.compiled import compiled, in_parts, inlined
from lintsvc.measure.edge_kinds import BEND, CORNER, edge_kinds
from lintsvc.measure.mesh import Floats, Ints, Mesh

#: Two faces that meet at more than this are a crease, not a curve: 12 facets round are still a curve.
_CREASE = np.cos(np.radians(35.0))
#: Normals on one curve, end to end.
_TURN = np.cos(np.radians(70.0))
#: Faces within 0.8 degrees are one facet.
_FLAT = 0.9999
#: Most faces looked at around one corner, to each side.
_FAN = 48
#: A ball that touches a face off its normal by more than a degree touches an edge of it.
_SQUARE = np.cos(np.radians(1.0))
#: The correction is no more than the facets of a coarse curve can explain.
_MOST = 0.25


@dataclass(frozen=True, eq=False)
class Corrected:
    """`width` (n,): the balls' widths on the curved surface. `chord` (n,): how far the facets lie
    beside it at both ends together. `opposed` (n,): cosine between the two normals (-1 parallel); 1 where the ball
    touches an edge of the design."""

    width: Floats
    chord: Floats
    opposed: Floats


def correct(mesh: Mesh, points: Floats, face: Ints, found: Balls, side: float) -> Corrected:
    """Correct the widths of balls at (n, 3) points of faces (n,), each of which ended at some face."""
    count = len(found.width)
    result = Corrected(found.width.copy(), np.zeros(count), np.ones(count))
    in_parts(
        _correct,
        count,
        mesh.vertices,
        mesh.faces,
        mesh.normals,
        mesh.areas,
        mesh.mates,
        edge_kinds(mesh),
        points,
        face,
        found.contact,
        found.face,
        side,
        result.width,
        result.chord,
        result.opposed,
    )
    return result


@compiled
def _correct(
    start: int,
    stop: int,
    vertices: Any,
    faces: Any,
    normals: Any,
    areas: Any,
    mates: Any,
    kinds: Any,
    points: Any,
    face: Any,
    contact: Any,
    contact_face: Any,
    side: float,
    width: Any,
    chord: Any,
    opposed: Any,
) -> None:
    p = np.empty(3)
    n = np.empty(3)
    q = np.empty(3)
    m = np.empty(3)
    for i in range(start, stop):
        f = face[i]
        g = contact_face[i]
        bent_p = _lift(f, points[i], vertices, faces, normals, areas, mates, kinds, p, n)
        bent_q = _lift(g, contact[i], vertices, faces, normals, areas, mates, kinds, q, m)
        cosine = n[0] * m[0] + n[1] * m[1] + n[2] * m[2]
        # Where does the ball touch: squarely on the face, or on an edge of it? On an edge of the design it stays,
        # and the face's normal says nothing about the direction of the contact.
        r = width[i] / 2
        square = 0.0
        for k in range(3):
            centre = points[i, k] + side * normals[f, k] * r
            square += side * (centre - contact[i, k]) / r * normals[g, k]
        if square < _SQUARE and _on_crease(g, contact[i], vertices, faces, normals, mates, kinds):
            continue
        opposed[i] = cosine
        if bent_p == 0 and bent_q == 0:
            continue
        chord[i] = bent_p + bent_q
        if cosine > 0.2:
            continue
        # The ball that touches p with normal n, and the plane through q with normal m.
        apart = 0.0
        for k in range(3):
            apart += side * (p[k] - q[k]) * m[k]
        better = 2 * apart / (1 - cosine)
        width[i] = min(max(better, width[i] * (1 - _MOST)), width[i] * (1 + _MOST))


@compiled
def _on_crease(f: int, at: Any, vertices: Any, faces: Any, normals: Any, mates: Any, kinds: Any) -> Any:
    """Whether a point of the face lies on an edge at which the surface turns, or ends."""
    for k in range(3):
        a = vertices[faces[f, k]]
        b = vertices[faces[f, k - 2]]
        length2 = 0.0
        along = 0.0
        off2 = 0.0
        for j in range(3):
            length2 += (b[j] - a[j]) ** 2
            along += (b[j] - a[j]) * (at[j] - a[j])
            off2 += (at[j] - a[j]) ** 2
        # At a corner of the face the crease may be an edge of another face that meets there.
        if off2 <= 1e-12 * length2 and _at_crease_corner(f, k, faces, normals, mates, kinds):
            return True
        # Squared distance from the edge's line, against its length.
        if off2 * length2 - along * along > 1e-12 * length2 * length2:
            continue
        other = mates[3 * f + k]
        if other < 0:
            return True
        g = other // 3
        if normals[g].any() and (kinds[3 * f + k] == CORNER or _cosine(normals, f, g) <= _CREASE):
            return True
    return False


@compiled
def _at_crease_corner(f: int, k: int, faces: Any, normals: Any, mates: Any, kinds: Any) -> Any:
    """Whether two of the faces around corner k of face f meet in a crease."""
    vertex = faces[f, k]
    here = f
    for _ in range(_FAN):
        other = mates[3 * here + k]
        if other < 0:
            return True
        there = other // 3
        sharp = kinds[3 * here + k] == CORNER or _cosine(normals, here, there) <= _CREASE
        if sharp and normals[here].any() and normals[there].any():
            return True
        k = (other % 3 + 1) % 3
        here = there
        if here == f or faces[here, k] != vertex:
            return False
    return False


@inlined
def _cosine(normals: Any, f: int, g: int) -> Any:
    return normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]


@compiled
def _lift(
    f: int,
    at: Any,
    vertices: Any,
    faces: Any,
    normals: Any,
    areas: Any,
    mates: Any,
    kinds: Any,
    point: Any,
    normal: Any,
) -> Any:
    """Fill in the point and normal on the curved surface; return how far the point moved (0 on a flat face)."""
    for k in range(3):
        point[k] = at[k]
        normal[k] = normals[f, k]
    curved = False
    for k in range(3):
        other = mates[3 * f + k]
        # A face without a normal may hide a curve behind it.
        if other >= 0 and (kinds[3 * f + k] == BEND or not normals[other // 3].any()):
            curved = True
    if not curved:
        # The curve may pass only through a corner: between two triangles of one flat strip.
        for k in range(3):
            other = mates[3 * f + k]
            if other >= 0:
                g = other // 3
                for j in range(3):
                    beyond = mates[3 * g + j]
                    if beyond >= 0 and beyond // 3 != f:
                        c = _cosine(normals, f, beyond // 3)
                        if _CREASE < c < _FLAT and kinds[3 * g + j] != CORNER and kinds[3 * f + k] != CORNER:
                            curved = True
    if not curved:
        return 0.0
    # Barycentric weights of the point.
    a = vertices[faces[f, 0]]
    b = vertices[faces[f, 1]]
    c3 = vertices[faces[f, 2]]
    weight = np.empty(3)
    total = 0.0
    for k in range(3):
        u = vertices[faces[f, k - 2]]
        v = vertices[faces[f, k - 1]]
        ux = u[0] - at[0]
        uy = u[1] - at[1]
        uz = u[2] - at[2]
        vx = v[0] - at[0]
        vy = v[1] - at[1]
        vz = v[2] - at[2]
        w = (
            (uy * vz - uz * vy) * normals[f, 0]
            + (uz * vx - ux * vz) * normals[f, 1]
            + (ux * vy - uy * vx) * normals[f, 2]
        )
        weight[k] = max(w, 0.0)
        total += weight[k]
    if total <= 0:
        return 0.0
    corner = np.empty((3, 3))
    sx = 0.0
    sy = 0.0
    sz = 0.0
    nx = 0.0
    ny = 0.0
    nz = 0.0
    for k in range(3):
        _corner_normal(f, k, faces, normals, areas, mates, kinds, corner[k])
        v = a if k == 0 else (b if k == 1 else c3)
        off = (at[0] - v[0]) * corner[k, 0] + (at[1] - v[1]) * corner[k, 1] + (at[2] - v[2]) * corner[k, 2]
        w = weight[k] / total
        sx -= w * off * corner[k, 0]
        sy -= w * off * corner[k, 1]
        sz -= w * off * corner[k, 2]
        nx += w * corner[k, 0]
        ny += w * corner[k, 1]
        nz += w * corner[k, 2]
    length = np.sqrt(nx * nx + ny * ny + nz * nz)
    if length < 0.5:
        return 0.0
    normal[0] = nx / length
    normal[1] = ny / length
    normal[2] = nz / length
    point[0] += 0.5 * sx
    point[1] += 0.5 * sy
    point[2] += 0.5 * sz
    return 0.5 * np.sqrt(sx * sx + sy * sy + sz * sz)


@compiled
def _corner_normal(f: int, k: int, faces: Any, normals: Any, areas: Any, mates: Any, kinds: Any, normal: Any) -> None:
    """Normal at corner k of face f: the mean over the facets that meet there smoothly, by facet, not by triangle.

    A facet weighs as its largest triangle: where a wide flat runs into a narrow bend, the flat's
    direction holds at the edge between them, as it does on the true surface.
    """
    sx = 0.0
    sy = 0.0
    sz = 0.0
    own = areas[f]
    closed = False
    for way in range(2):
        g = f
        # Corner v of g: leave over the edge after it, then over the edge before it.
        at = k
        lx = normals[f, 0]
        ly = normals[f, 1]
        lz = normals[f, 2]
        group = -1.0
        gx = lx
        gy = ly
        gz = lz
        for _ in range(_FAN):
            edge = 3 * g + (at if way == 0 else (at + 2) % 3)
            other = mates[edge]
            if other < 0 or kinds[edge] == CORNER:
                break
            g2 = other // 3
            j = other % 3
            v = faces[g, at]
            at2 = (j + 1) % 3 if way == 0 else j
            if faces[g2, at2] != v:
                # Wound the other way round: no smooth surface.
                break
            g = g2
            at = at2
            if g == f:
                closed = True
                break
            x = normals[g, 0]
            y = normals[g, 1]
            z = normals[g, 2]
            if x == 0 and y == 0 and z == 0:
                continue
            step = x * lx + y * ly + z * lz
            if step < _CREASE or x * normals[f, 0] + y * normals[f, 1] + z * normals[f, 2] < _TURN:
                break
            if x * gx + y * gy + z * gz > _FLAT:
                if group < 0:
                    own = max(own, areas[g])
                elif areas[g] > group:
                    # The direction, too: a sliver beside a long strip would tilt it over its whole length.
                    group = areas[g]
                    gx = x
                    gy = y
                    gz = z
            else:
                if group >= 0:
                    sx += group * gx
                    sy += group * gy
                    sz += group * gz
                group = areas[g]
                gx = x
                gy = y
                gz = z
            lx = x
            ly = y
            lz = z
        if group >= 0:
            # Once round: the last facet may be the one that we started from.
            if closed and gx * normals[f, 0] + gy * normals[f, 1] + gz * normals[f, 2] > _FLAT:
                own = max(own, group)
            else:
                sx += group * gx
                sy += group * gy
                sz += group * gz
        if closed:
            break
    sx += own * normals[f, 0]
    sy += own * normals[f, 1]
    sz += own * normals[f, 2]
    length = np.sqrt(sx * sx + sy * sy + sz * sz)
    if length > 0:
        normal[0] = sx / length
        normal[1] = sy / length
        normal[2] = sz / length
    else:
        normal[0] = normals[f, 0]
        normal[1] = normals[f, 1]
        normal[2] = normals[f, 2]
