"""Single faces: how low they are, and how far flat facets stay off the curved surface that they stand for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.joining import numbered, unite
from lintsvc.measure.mesh import Floats, Ints, Mesh

#: Faces that turn by less are one flat facet.
FLAT_DEG = 0.06
#: An edge that turns by more is taken as an edge of the design: nine facets or fewer around a circle are a polygon.
SMOOTH_DEG = 37.0
#: From this turn on only neighbours that are nearly the same look like pieces of one curve: a chamfer turns as much.
_SHARP_DEG = 20.0
#: Neighbours on one curved surface are about alike, at most so much wider; a flat between two roundings is not.
_ALIKE = 2.5
_NEARLY_SAME = 1.3
#: A facet of more triangles is a flat of the design, not a piece of a curve.
_MOST_TRIANGLES = 32


def heights(mesh: Mesh) -> Floats:
    """Return (m,) the lowest height of each face, mm: 0 for one with all corners on a line."""
    result = np.empty(len(mesh))
    in_parts(_heights, len(mesh), mesh.vertices, mesh.faces, mesh.areas, result)
    return result


@dataclass(frozen=True, eq=False)
class Facets:
    """Flat facets of a mesh. `label`: (m,) which facet a face is in. `deviation_mm`, `radius_mm`: (facets,),
    how far the facet's middle stays off the curve through its corners, and that curve's radius; 0 for
    facets that do not look like a piece of a curve.
    """

    label: Ints
    deviation_mm: Floats
    radius_mm: Floats


def facets(mesh: Mesh, mate: Ints) -> Facets:
    """Find the flat facets and, for those between alike neighbours that turn the same way, their chord deviation.

    A strip of width w between neighbours that turn by t deviates by (w/2) tan(t/4). For a facet that is
    curved both ways the radius R follows from the turn and the distance of the neighbours' middles; it
    deviates by R - sqrt(R² - r²), with r the radius of the circle around it. Where the edges of a facet
    disagree, the least deviation is taken.
    """
    label, count = _flat(mate, mesh.normals, np.cos(np.radians(FLAT_DEG)))
    start, order, middle = _middles(label, count, mesh.vertices, mesh.faces, mesh.areas)
    deviation, radius = np.zeros(count), np.zeros(count)
    arrays = (label, start, order, middle, mate, mesh.vertices, mesh.faces, mesh.normals)
    in_parts(_deviations, count, *arrays, _MOST_TRIANGLES, deviation, radius)
    return Facets(label, deviation, radius)


@compiled
def _heights(start: int, stop: int, vertices: Any, faces: Any, areas: Any, result: Any) -> None:
    """Twice the area over the longest side."""
    for i in range(start, stop):
        longest = 0.0
        for k in range(3):
            a = faces[i, k]
            b = faces[i, k - 2]
            x = vertices[b, 0] - vertices[a, 0]
            y = vertices[b, 1] - vertices[a, 1]
            z = vertices[b, 2] - vertices[a, 2]
            longest = max(longest, x * x + y * y + z * z)
        result[i] = 2.0 * areas[i] / np.sqrt(longest) if longest > 0.0 else 0.0


@compiled
def _flat(mate: Any, normals: Any, cosine: float) -> Any:
    """Label faces that hang together without a turn."""
    parent = np.arange(normals.shape[0]).astype(np.int32)
    for h in range(mate.shape[0]):
        f = h // 3
        g = mate[h] // 3
        # Each pair once.
        if mate[h] <= h:
            continue
        dot = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
        if dot >= cosine:
            unite(parent, f, g)
    return numbered(parent)


@compiled
def _middles(label: Any, count: int, vertices: Any, faces: Any, areas: Any) -> Any:
    """List the faces of each facet (`order[start[p]:start[p + 1]]`) and find each facet's middle by area."""
    start = np.zeros(count + 1, np.int32)
    for f in range(label.shape[0]):
        start[label[f] + 1] += 1
    for p in range(count):
        start[p + 1] += start[p]
    at = start[:-1].copy()
    order = np.empty(label.shape[0], np.int32)
    middle = np.zeros((count, 3))
    area = np.zeros(count)
    for f in range(label.shape[0]):
        p = label[f]
        order[at[p]] = f
        at[p] += 1
        area[p] += areas[f]
        for k in range(3):
            middle[p, k] += areas[f] * (vertices[faces[f, 0], k] + vertices[faces[f, 1], k] + vertices[faces[f, 2], k])
    for p in range(count):
        if area[p] > 0.0:
            for k in range(3):
                middle[p, k] /= 3.0 * area[p]
    return start, order, middle


@compiled
def _deviations(
    first: int,
    stop: int,
    label: Any,
    start: Any,
    order: Any,
    middle: Any,
    mate: Any,
    vertices: Any,
    faces: Any,
    normals: Any,
    most_triangles: int,
    deviation: Any,
    radius: Any,
) -> None:
    """Fill in chord deviation and radius of the facets `first` to `stop`."""
    most = 3 * most_triangles
    smooth = np.radians(SMOOTH_DEG)
    sharp = np.radians(_SHARP_DEG)
    # For each smooth edge: its way, a point on it; its neighbour, 1 or -1 for convex or concave, and radius.
    way = np.empty((most, 3))
    on = np.empty(most, np.int32)
    neighbour = np.empty(most, np.int32)
    sense = np.empty(most, np.int8)
    bend = np.empty(most)
    angle = np.empty(most)
    for p in range(first, stop):
        triangles = start[p + 1] - start[p]
        if triangles > most_triangles:
            continue
        found = 0
        balance = 0
        for i in range(start[p], start[p + 1]):
            f = order[i]
            for k in range(3):
                other = mate[3 * f + k]
                if other < 0:
                    continue
                g = other // 3
                q = label[g]
                if q == p or start[q + 1] - start[q] > most_triangles:
                    continue
                a = faces[f, k]
                b = faces[f, (k + 1) % 3]
                # Wound against each other: their normals say nothing.
                if faces[g, other % 3] == a:
                    continue
                dot = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
                cx = normals[f, 1] * normals[g, 2] - normals[f, 2] * normals[g, 1]
                cy = normals[f, 2] * normals[g, 0] - normals[f, 0] * normals[g, 2]
                cz = normals[f, 0] * normals[g, 1] - normals[f, 1] * normals[g, 0]
                turn = np.arctan2(np.sqrt(cx * cx + cy * cy + cz * cz), dot)
                if turn > smooth or turn == 0.0:
                    continue
                x = vertices[b, 0] - vertices[a, 0]
                y = vertices[b, 1] - vertices[a, 1]
                z = vertices[b, 2] - vertices[a, 2]
                length = np.sqrt(x * x + y * y + z * z)
                x /= length
                y /= length
                z /= length
                mine = _off(middle, p, vertices, a, x, y, z)
                its = _off(middle, q, vertices, a, x, y, z)
                alike = _NEARLY_SAME if turn > sharp else _ALIKE
                if mine > alike * its or its > alike * mine or mine == 0.0:
                    continue
                way[found, 0] = x
                way[found, 1] = y
                way[found, 2] = z
                on[found] = a
                neighbour[found] = q
                sense[found] = 1 if cx * x + cy * y + cz * z > 0.0 else -1
                bend[found] = (mine + its) / (2.0 * np.sin(turn / 2))
                angle[found] = turn
                balance += sense[found]
                found += 1
        if found < 2:
            continue
        wanted = 1 if balance >= 0 else -1
        lead = -1
        several = 0
        both_ways = False
        least = np.inf
        largest = 0.0
        turn = np.inf
        most_turn = 0.0
        for e in range(found):
            if sense[e] != wanted:
                continue
            least = min(least, bend[e])
            largest = max(largest, bend[e])
            turn = min(turn, angle[e])
            most_turn = max(most_turn, angle[e])
            if lead < 0:
                lead = e
                continue
            several += neighbour[e] != neighbour[lead]
            along = way[e, 0] * way[lead, 0] + way[e, 1] * way[lead, 1] + way[e, 2] * way[lead, 2]
            both_ways = both_ways or abs(along) < 0.866
        # A strip lies between two neighbours, a facet that is curved both ways among three or more.
        if several < (2 if both_ways else 1):
            continue
        if largest > _ALIKE * least or (most_turn > sharp and (both_ways or largest > _NEARLY_SAME * least)):
            continue
        # The width of a strip; of a facet curved both ways the largest distance between two corners.
        span = 0.0
        for i in range(start[p], start[p + 1]):
            for k in range(3):
                v = faces[order[i], k]
                if not both_ways:
                    span = max(span, _off(vertices, v, vertices, on[lead], way[lead, 0], way[lead, 1], way[lead, 2]))
                    continue
                for j in range(i, start[p + 1]):
                    for m in range(3):
                        w = faces[order[j], m]
                        x = vertices[v, 0] - vertices[w, 0]
                        y = vertices[v, 1] - vertices[w, 1]
                        z = vertices[v, 2] - vertices[w, 2]
                        span = max(span, np.sqrt(x * x + y * y + z * z))
        if not both_ways:
            deviation[p] = span / 2 * np.tan(turn / 4)
            radius[p] = span / (2 * np.sin(turn / 2))
            continue
        around = span / 2
        if triangles == 1:
            around = max(around, _round(vertices, faces, order[start[p]]))
        if around < largest:
            deviation[p] = largest - np.sqrt(largest * largest - around * around)
            radius[p] = largest


@compiled
def _off(points: Any, p: int, vertices: Any, a: int, x: float, y: float, z: float) -> float:
    """Distance of point p from the line through vertex a along the unit vector x, y, z."""
    dx = points[p, 0] - vertices[a, 0]
    dy = points[p, 1] - vertices[a, 1]
    dz = points[p, 2] - vertices[a, 2]
    along = dx * x + dy * y + dz * z
    return np.sqrt(max(0.0, dx * dx + dy * dy + dz * dz - along * along))  # type: ignore[no-any-return]


@compiled
def _round(vertices: Any, faces: Any, f: int) -> float:
    """Radius of the circle through an acute triangle's corners; 0 for an obtuse one."""
    side = np.empty(3)
    for k in range(3):
        a = faces[f, k]
        b = faces[f, (k + 1) % 3]
        x = vertices[a, 0] - vertices[b, 0]
        y = vertices[a, 1] - vertices[b, 1]
        z = vertices[a, 2] - vertices[b, 2]
        side[k] = x * x + y * y + z * z
    total = side[0] + side[1] + side[2]
    if 2.0 * max(side[0], side[1], side[2]) >= total:
        return 0.0
    sixteen = total * total - 2.0 * (side[0] ** 2 + side[1] ** 2 + side[2] ** 2)
    return np.sqrt(side[0] * side[1] * side[2] / sixteen)  # type: ignore[no-any-return]
