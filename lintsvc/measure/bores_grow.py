"""Stretches of surface that bend around an axis, hollow side inward: grown from a face over its neighbours."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled, inlined
from lintsvc.measure.mesh import Ints, Mesh

#: Two facets of a hole turn by less than this; six around are the fewest.
_TURN = np.cos(np.radians(62.0))
#: An axis is guessed first over such bends alone: a drill's cone bends off the hole's wall by more.
_GENTLE = np.cos(np.radians(35.0))
#: Facets that turn by less than half a degree say nothing about an axis.
_FLAT = np.cos(np.radians(0.5))
#: So many faces are looked at to guess an axis; more where they bend by less than 65 degrees, up to a most.
_GUESS = 40
_BENT = np.cos(np.radians(65.0))
_MOST = 1600
#: A stretch is grown and fitted again as long as it gets larger, so often at most.
_PASSES = 6
#: The normals around an axis spread by at least that much; along it by no more than that share of it.
_SPREAD = 0.0015
_ALONG = 0.03
#: So many guesses are made, at most, on however fine a mesh; a hole of a fine mesh has many faces.
_GUESSES = 40_000
#: Corners lie on the circle or, where eight facets are split again, this share of the radius inside it.
_OUTSIDE = 0.07
_INSIDE = 0.08
#: Axes by edges are tried as long as that takes no more than so many looks at each face.
_WORK = 2
#: Cosine between normals on opposed sides of a hole.
_OPPOSED = np.cos(np.radians(135.0))
#: Edges within half a degree of the axis are along it (the cosine's square).
_PARALLEL = np.cos(np.radians(0.5)) ** 2
#: Normals are at right angles to the axis to within this sine.
_SQUARE = 0.06


def grow_bores(mesh: Mesh) -> tuple[Ints, int]:
    """Label (m,) the faces of each stretch from 0; -1 for the others. Returns labels and how many there are."""
    label, count = _grow(mesh.vertices, mesh.faces, mesh.normals, mesh.mates, mesh.rounding_mm)
    return label, int(count)


@inlined
def _dot(a: Any, b: Any) -> Any:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@compiled
def _hollow(f: int, k: int, turn: float, vertices: Any, faces: Any, normals: Any, mates: Any) -> Any:
    """The neighbour over edge k of face f, when they bend like a hole's wall by less than `turn` (a cosine); else -1.

    A flat neighbour counts too, as -2 - its number: it may be the other half of the same facet.
    """
    other = mates[3 * f + k]
    if other < 0:
        return -1
    g = other // 3
    c = _dot(normals[f], normals[g])
    if c <= turn:
        return -1
    if c >= _FLAT:
        return -2 - g
    v = vertices[faces[g, (other % 3 + 2) % 3]]
    a = vertices[faces[f, k]]
    height = (v[0] - a[0]) * normals[f, 0] + (v[1] - a[1]) * normals[f, 1] + (v[2] - a[2]) * normals[f, 2]
    return g if height > 0 else -1


@compiled
def _fit(members: Any, count: int, vertices: Any, faces: Any, normals: Any, axis: Any, centre: Any) -> Any:
    """Fill in the axis and a point on it; return the radius, or 0 when the faces do not bend around one axis."""
    spread = np.zeros((3, 3))
    total = 0.0
    for i in range(count):
        f = members[i]
        # Not by area: one long facet must not outweigh the turn of the others.
        for a in range(3):
            for b in range(3):
                spread[a, b] += normals[f, a] * normals[f, b]
        total += 1.0
    values, vectors = np.linalg.eigh(spread)
    if values[0] > _ALONG * values[1] or values[1] < _SPREAD * total:
        return 0.0
    for k in range(3):
        axis[k] = vectors[k, 0]
    least = 0
    for k in range(1, 3):
        if abs(axis[k]) < abs(axis[least]):
            least = k
    u = np.zeros(3)
    u[least] = 1.0
    across = u - _dot(u, axis) * axis
    across /= np.sqrt(_dot(across, across))
    beside = np.cross(axis, across)
    # Least squares of x2 + y2 = 2 a x + 2 b y + c, about the first corner.
    base = vertices[faces[members[0], 0]]
    m = np.zeros((3, 3))
    r = np.zeros(3)
    row = np.empty(3)
    for i in range(count):
        for k in range(3):
            d = vertices[faces[members[i], k]] - base
            x = _dot(d, across)
            y = _dot(d, beside)
            row[0] = 2 * x
            row[1] = 2 * y
            row[2] = 1.0
            for a in range(3):
                r[a] += row[a] * (x * x + y * y)
                for b in range(3):
                    m[a, b] += row[a] * row[b]
    # Corners on one line have no circle.
    scale = np.abs(m).max()
    if scale <= 0 or abs(np.linalg.det(m / scale)) < 1e-14:
        return 0.0
    s = np.linalg.solve(m, r)
    for k in range(3):
        centre[k] = base[k] + s[0] * across[k] + s[1] * beside[k]
    return np.sqrt(max(0.0, s[2] + s[0] * s[0] + s[1] * s[1]))


@compiled
def _fits(f: int, axis: Any, centre: Any, radius: float, slack: float, vertices: Any, faces: Any, normals: Any) -> Any:
    """The face's corners lie on the circle, and it looks at the axis."""
    if abs(_dot(normals[f], axis)) > _SQUARE:
        return False
    looks = 0.0
    for k in range(3):
        d = vertices[faces[f, k]] - centre
        d = d - _dot(d, axis) * axis
        off = np.sqrt(_dot(d, d))
        if off > (1 + _OUTSIDE) * radius + slack or off < (1 - _INSIDE) * radius - slack:
            return False
        looks += _dot(d, normals[f])
    return looks < 0


@compiled
def _ahead(
    seed: int,
    k: int,
    label: Any,
    seen: Any,
    stamp: int,
    members: Any,
    vertices: Any,
    faces: Any,
    normals: Any,
    mates: Any,
) -> Any:
    """Gather the faces around a seed that look square to one of its edges, along which a hole's facets lie."""
    axis = vertices[faces[seed, (k + 1) % 3]] - vertices[faces[seed, k]]
    axis /= max(np.sqrt(_dot(axis, axis)), 1e-300)
    members[0] = seed
    seen[seed] = stamp
    n = 1
    at = 0
    while at < n and n < _MOST - 3:
        for j in range(3):
            g = _hollow(members[at], j, _TURN, vertices, faces, normals, mates)
            if g <= -2:
                g = -2 - g
            if g >= 0 and seen[g] != stamp and label[g] < 0 and abs(_dot(normals[g], axis)) < _SQUARE / 4:
                seen[g] = stamp
                members[n] = g
                n += 1
        at += 1
    return n


@compiled
def _faces_itself(n: int, members: Any, normals: Any) -> Any:
    """Whether any of the faces looks at the first, within the 45 degrees that eight facets leave."""
    least = 1.0
    for i in range(n):
        least = min(least, _dot(normals[members[0]], normals[members[i]]))
    return least < _OPPOSED


@compiled
def _tell(n: int, members: Any, seed: int, k: int, told: Any, vertices: Any, faces: Any) -> None:
    """Mark the edges of the faces that run along edge k of the seed: they would gather the same faces."""
    axis = vertices[faces[seed, (k + 1) % 3]] - vertices[faces[seed, k]]
    length = _dot(axis, axis)
    for i in range(n):
        f = members[i]
        for j in range(3):
            edge = vertices[faces[f, (j + 1) % 3]] - vertices[faces[f, j]]
            along = _dot(edge, axis)
            if along * along > _PARALLEL * length * _dot(edge, edge):
                told[3 * f + j] = True


@compiled
def _spread(
    n: int,
    label: Any,
    seen: Any,
    stamp: int,
    members: Any,
    axis: Any,
    centre: Any,
    radius: float,
    slack: float,
    vertices: Any,
    faces: Any,
    normals: Any,
    mates: Any,
) -> Any:
    """Grow from the first member over all that fits the circle, again as long as it gets larger; return how many faces,
    the radius and the last stamp."""
    before = 0
    for again in range(_PASSES):
        stamp += 1
        seen[members[0]] = stamp
        n = 1
        at = 0
        while at < n:
            f = members[at]
            at += 1
            for k in range(3):
                g = _hollow(f, k, _TURN, vertices, faces, normals, mates)
                if g <= -2:
                    g = -2 - g
                if g < 0 or seen[g] == stamp or label[g] >= 0:
                    continue
                seen[g] = stamp
                if _fits(g, axis, centre, radius, slack, vertices, faces, normals):
                    members[n] = g
                    n += 1
        if again == _PASSES - 1 or n <= before:
            break
        before = n
        better = _fit(members, n, vertices, faces, normals, axis, centre)
        if better == 0:
            return 0, 0.0, stamp
        radius = better
    return n, radius, stamp


@compiled
def _goes_round(n: int, members: Any, axis: Any, centre: Any, vertices: Any, faces: Any) -> Any:
    """Whether corners of the faces lie in all directions around the axis, without a gap of a sixth of the circle."""
    base = vertices[faces[members[0], 0]] - centre
    base = base - _dot(base, axis) * axis
    base /= max(np.sqrt(_dot(base, base)), 1e-300)
    beside = np.cross(axis, base)
    covered = np.zeros(72, np.bool_)
    for i in range(n):
        d = vertices[faces[members[i], 0]] - centre
        first = np.arctan2(_dot(d, beside), _dot(d, base))
        low = 0.0
        high = 0.0
        for k in range(1, 3):
            d = vertices[faces[members[i], k]] - centre
            turn = (np.arctan2(_dot(d, beside), _dot(d, base)) - first + np.pi) % (2 * np.pi) - np.pi
            low = min(low, turn)
            high = max(high, turn)
        start = int(np.floor((first + low) * 36 / np.pi))
        for j in range(start, int(np.floor((first + high) * 36 / np.pi)) + 1):
            covered[j % 72] = True
    return covered.sum() >= 60


@compiled
def _grow(vertices: Any, faces: Any, normals: Any, mates: Any, rounding: float) -> Any:
    count = faces.shape[0]
    label = np.full(count, -1, np.int32)
    tried = np.zeros(count, np.bool_)
    seen = np.full(count, -1, np.int64)
    members = np.empty(max(count, _MOST), np.int32)
    axis = np.empty(3)
    centre = np.empty(3)
    seeds = 0
    for f in range(count):
        for k in range(3):
            if _hollow(f, k, _TURN, vertices, faces, normals, mates) >= 0:
                seeds += 1
                break
    stride = max(1, seeds // _GUESSES)
    found = 0
    stamp = 0
    passed = 0
    # First by an edge of the seed's as the axis: beside a round bottom a guess over the faces around would tilt it.
    told = np.zeros(3 * count, np.bool_)
    work = 0
    for seed in range(count):
        if work > _WORK * count + 100_000:
            break
        for k in range(3):
            if label[seed] >= 0 or told[3 * seed + k]:
                continue
            if _hollow(seed, k, _TURN, vertices, faces, normals, mates) < 0:
                continue
            passed += 1
            if passed % stride != 0:
                continue
            stamp += 1
            n = _ahead(seed, k, label, seen, stamp, members, vertices, faces, normals, mates)
            work += n
            _tell(n, members, seed, k, told, vertices, faces)
            # All of a hole looks square to its axis, but for what was too much to be gathered: the far side, too.
            if n < 6 or (n < _MOST - 3 and not _faces_itself(n, members, normals)):
                continue
            radius = _fit(members, n, vertices, faces, normals, axis, centre)
            if radius == 0 or not _fits(seed, axis, centre, radius, 4 * rounding, vertices, faces, normals):
                continue
            if n < _MOST - 3 and not _goes_round(n, members, axis, centre, vertices, faces):
                continue
            members[0] = seed
            n, radius, stamp = _spread(
                n, label, seen, stamp, members, axis, centre, radius, 4 * rounding, vertices, faces, normals, mates
            )
            work += n
            if n >= 6 and _goes_round(n, members, axis, centre, vertices, faces):
                for i in range(n):
                    label[members[i]] = found
                found += 1
    passed = 0
    for seed in range(count):
        if tried[seed] or label[seed] >= 0:
            continue
        hollow = False
        for k in range(3):
            if _hollow(seed, k, _TURN, vertices, faces, normals, mates) >= 0:
                hollow = True
        if not hollow:
            continue
        passed += 1
        if passed % stride != 0:
            continue
        radius = 0.0
        n = 0
        for turn in (_GENTLE, _TURN):
            # A few faces around the seed say where the axis is.
            stamp += 1
            members[0] = seed
            seen[seed] = stamp
            n = 1
            at = 0
            bent = 1.0
            while at < n and n < _MOST and (n < _GUESS or bent > _BENT):
                for k in range(3):
                    g = _hollow(members[at], k, turn, vertices, faces, normals, mates)
                    if g <= -2:
                        g = -2 - g
                    if g >= 0 and seen[g] != stamp and label[g] < 0 and n < _MOST:
                        seen[g] = stamp
                        members[n] = g
                        n += 1
                        bent = min(bent, _dot(normals[g], normals[seed]))
                at += 1
            # The guess may reach over the hole's rim: try with fewer faces, too.
            tries = n
            while tries >= 3:
                radius = _fit(members, tries, vertices, faces, normals, axis, centre)
                if radius > 0 and _fits(seed, axis, centre, radius, 4 * rounding, vertices, faces, normals):
                    break
                radius = 0.0
                tries = tries // 2
            if radius > 0:
                break
        tried[seed] = True
        if radius == 0:
            # The faces around it would give the same.
            for i in range(min(n, _GUESS // 4)):
                tried[members[i]] = True
            continue
        members[0] = seed
        n, radius, stamp = _spread(
            n, label, seen, stamp, members, axis, centre, radius, 4 * rounding, vertices, faces, normals, mates
        )
        for i in range(n):
            tried[members[i]] = True
        if n >= 6:
            for i in range(n):
                label[members[i]] = found
            found += 1
    return label, found
