"""Flagged points to regions: one region is one place on the part, both sides of the wall together."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.cells import Cells
from lintsvc.measure.compiled import compiled, shared_out, threads
from lintsvc.measure.joining import numbered, unite
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.weld import weld

#: From so many points on several threads join them.
_SHARED = 20_000
#: So many cells around one are remembered, not to be looked at again.
_SEEN = 16
#: Up to so many flagged points on a face are compared one by one; more go through a hash of cells.
_FEW = 24


def regions(
    mesh: Mesh,
    cells: Cells,
    points: NDArray[np.float64],
    face: NDArray[np.int32],
    contact: NDArray[np.float64],
    contact_face: NDArray[np.int32],
    reach: float,
) -> tuple[NDArray[np.int32], int]:
    """Join points that lie within `reach` of each other in one cell or in cells side by side,
    or whose contact lies within `reach` of the other.

    All arrays are (n, …), in order of `face`, the first of a cell. Returns (n,) region labels from 0, and how
    many there are.
    """
    count = len(points)
    if not count:
        return np.empty(0, np.int32), 0
    first = np.zeros(len(mesh) + 1, np.int32)
    np.cumsum(np.bincount(face, minlength=len(mesh)), out=first[1:])
    # Column by column: several times faster than along the short side.
    bare = (mesh.normals[:, 0] == 0) & (mesh.normals[:, 1] == 0) & (mesh.normals[:, 2] == 0)
    grid = _hash(points, face, first, reach)
    sides = (cells.of_face, cells.members, cells.start, cells.count, mesh.mates, bare)
    return _joined(points, face, contact, contact_face, first, *sides, reach, *grid)


def clusters(
    points: NDArray[np.float64], reach: float, owner: NDArray[np.int32] | None = None
) -> tuple[NDArray[np.int32], int]:
    """Join (n, 3) points that lie within `reach` of each other, whatever face they are on. Labels and their number.

    `owner`: (n,) numbers from 0; only points of one owner are joined. Of points in one cell a tenth as wide only the
    first is looked at: distances count to within that.
    """
    if not len(points):
        return np.empty(0, np.int32), 0
    owner = np.zeros(len(points), np.int32) if owner is None else owner
    chosen, cell = weld(np.floor(points / (reach / 10)), owner)
    order = np.argsort(owner[chosen], kind="stable")
    place = np.empty(len(order), np.int32)
    place[order] = np.arange(len(order))
    points, owner = np.ascontiguousarray(points[chosen[order]]), owner[chosen[order]]
    # As if all of one owner lay on one face without neighbours.
    owners = int(owner[-1]) + 1
    first = np.searchsorted(owner, np.arange(owners + 1)).astype(np.int32)
    each, one, alone = np.arange(owners, dtype=np.int32), np.ones(owners, np.int32), np.full(3 * owners, -1, np.int32)
    sides = (each, each, each, one, alone, np.zeros(owners, bool))
    label, found = _joined(points, owner, points, owner, first, *sides, reach, *_hash(points, owner, first, reach))
    return label[place[cell]], found


def _joined(points: NDArray[np.float64], *arguments: Any) -> tuple[NDArray[np.int32], int]:
    """Join in a few threads, each a stretch of the points; then join what they found."""
    count = len(points)
    parts = threads() if count > _SHARED else 1
    bounds = [count * i // parts for i in range(parts + 1)]
    parents = shared_out(lambda i: _join(bounds[i], bounds[i + 1], points, *arguments), parts, parts)
    whole = np.arange(count, dtype=np.int32)
    for parent in parents:
        _merge(whole, parent)
    label, found = numbered(whole)
    return label, int(found)


@compiled
def _merge(parent: Any, other: Any) -> None:
    """Join what the other forest joins."""
    for i in range(other.shape[0]):
        if other[i] != i:
            unite(parent, i, other[i])


@compiled
def _key(f: int, x: int, y: int, z: int) -> Any:
    h = (
        np.uint64(f) * np.uint64(0x9E3779B97F4A7C15)
        ^ np.uint64(x) * np.uint64(0xC2B2AE3D27D4EB4F)
        ^ np.uint64(y) * np.uint64(0x165667B19E3779F9)
        ^ np.uint64(z) * np.uint64(0xD6E8FEB86659FD93)
    )
    h ^= h >> np.uint64(29)
    h *= np.uint64(0xBF58476D1CE4E5B9)
    return h ^ (h >> np.uint64(32))


@compiled
def _hash(points: Any, face: Any, first: Any, reach: float) -> Any:
    """Chain the points of crowded faces by face and cell."""
    count = points.shape[0]
    cells = np.empty((count, 3), np.int64)
    size = 64
    while size < count:
        size *= 2
    heads = np.full(size, -1, np.int32)
    following = np.full(count, -1, np.int32)
    for i in range(count):
        for k in range(3):
            cells[i, k] = np.int64(np.floor(points[i, k] / reach))
        f = face[i]
        if first[f + 1] - first[f] > _FEW:
            slot = _key(f, cells[i, 0], cells[i, 1], cells[i, 2]) & np.uint64(size - 1)
            following[i] = heads[slot]
            heads[slot] = i
    return cells, heads, following


@compiled
def _join_near(
    i: int,
    x: float,
    y: float,
    z: float,
    f: int,
    points: Any,
    face: Any,
    first: Any,
    reach: float,
    cells: Any,
    heads: Any,
    following: Any,
    parent: Any,
) -> None:
    """Join point i with the points of face f that lie within reach of (x, y, z)."""
    low = first[f]
    high = first[f + 1]
    reach2 = reach * reach
    if high - low <= _FEW:
        for j in range(low, high):
            if j != i:
                a = points[j, 0] - x
                b = points[j, 1] - y
                c = points[j, 2] - z
                if a * a + b * b + c * c <= reach2:
                    unite(parent, i, j)
        return
    cx = np.int64(np.floor(x / reach))
    cy = np.int64(np.floor(y / reach))
    cz = np.int64(np.floor(z / reach))
    mask = np.uint64(heads.shape[0] - 1)
    for u in range(cx - 1, cx + 2):
        for v in range(cy - 1, cy + 2):
            for w in range(cz - 1, cz + 2):
                j = heads[_key(f, u, v, w) & mask]
                while j >= 0:
                    if face[j] == f:
                        a = points[j, 0] - x
                        b = points[j, 1] - y
                        c = points[j, 2] - z
                        if a * a + b * b + c * c <= reach2:
                            unite(parent, i, j)
                    j = following[j]


@compiled
def _has(seen: Any, known: int, g: int) -> Any:
    """Whether g is among the first of `seen`."""
    n = 0
    while n < known and seen[n] != g:
        n += 1
    return n < known


@compiled
def _join(
    begin: int,
    end: int,
    points: Any,
    face: Any,
    contact: Any,
    contact_face: Any,
    first: Any,
    of_face: Any,
    members: Any,
    start: Any,
    count: Any,
    mates: Any,
    bare: Any,
    reach: float,
    cells: Any,
    heads: Any,
    following: Any,
) -> Any:
    parent = np.arange(points.shape[0]).astype(np.int32)
    seen = np.empty(_SEEN, np.int32)
    for i in range(begin, end):
        for side in range(2):
            f = face[i] if side == 0 else of_face[contact_face[i]]
            x = points[i, 0] if side == 0 else contact[i, 0]
            y = points[i, 1] if side == 0 else contact[i, 1]
            z = points[i, 2] if side == 0 else contact[i, 2]
            if first[f] < first[f + 1]:
                _join_near(i, x, y, z, f, points, face, first, reach, cells, heads, following, parent)
            known = 0
            for m in range(start[f], start[f] + count[f]):
                for k in range(3):
                    other = mates[3 * members[m] + k]
                    if other < 0:
                        continue
                    g = of_face[other // 3]
                    if g == f:
                        continue
                    # Side by side is mutual: half of the pairs are enough. Cells meet over many edges.
                    if (side == 1 or g > f) and first[g] < first[g + 1] and not _has(seen, known, g):
                        if known < _SEEN:
                            seen[known] = g
                            known += 1
                        _join_near(i, x, y, z, g, points, face, first, reach, cells, heads, following, parent)
                    if not bare[other // 3]:
                        continue
                    # A sliver without a normal has no points of its own: look behind it.
                    for e in range(3):
                        beyond = mates[3 * (other // 3) + e]
                        if beyond < 0:
                            continue
                        g = of_face[beyond // 3]
                        if g != f and first[g] < first[g + 1]:
                            _join_near(i, x, y, z, g, points, face, first, reach, cells, heads, following, parent)
    return parent
