"""Where pairs of faces cross: the pieces of line along which they go through each other."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.self_crossing import Contacts
from lintsvc.measure.self_crossing_pair import CROSSING


def crossing_lines(mesh: Mesh, found: Contacts) -> Floats:
    """Return (k, 2, 3) for each pair: the ends of the piece along which both cross.

    For faces that lie on each other: twice the middle of the smaller one.
    """
    a, b = mesh.vertices[mesh.faces[found.first]], mesh.vertices[mesh.faces[found.second]]
    smaller = np.where((mesh.areas[found.first] < mesh.areas[found.second])[:, None], a.mean(axis=1), b.mean(axis=1))
    result = np.stack([smaller, smaller], axis=1)
    chosen = np.flatnonzero(found.kind == CROSSING)
    if not len(chosen):
        return result
    a, b = a[chosen], b[chosen]
    normal_a, normal_b = mesh.normals[found.first[chosen]], mesh.normals[found.second[chosen]]
    way = np.cross(normal_a, normal_b)
    from_a, to_a, least_a, most_a = _cut(a, b[:, 0], normal_b, way)
    _, _, least_b, most_b = _cut(b, a[:, 0], normal_a, way)
    length = np.where(most_a > least_a, most_a - least_a, 1.0)
    for end, at in ((0, np.maximum(least_a, least_b)), (1, np.minimum(most_a, most_b))):
        share = np.clip((at - least_a) / length, 0.0, 1.0)[:, None]
        point = from_a + share * (to_a - from_a)
        result[chosen, end] = np.where(np.isfinite(point), point, result[chosen, end])
    return result


def _cut(corners: Floats, on_plane: Floats, normal: Floats, way: Floats) -> tuple[Any, Any, Any, Any]:
    """Return the ends of the cut of triangles (k, 3, 3) with planes, and their places along `way`."""
    distance = np.einsum("kij,kj->ki", corners - on_plane[:, None], normal)
    scale = np.abs(distance).max(axis=1, keepdims=True)
    distance = np.where(np.abs(distance) <= 1e-9 * scale, 0.0, distance)
    after, beyond = np.roll(distance, -1, axis=1), np.roll(corners, -1, axis=1)
    crosses = distance * after < 0
    share = np.where(crosses, distance / np.where(crosses, distance - after, 1.0), 0.0)
    points = np.concatenate([corners + share[..., None] * (beyond - corners), corners], axis=1)
    valid = np.concatenate([crosses, distance == 0.0], axis=1)
    along = np.einsum("kij,kj->ki", points, way)
    low, high = np.where(valid, along, np.inf), np.where(valid, along, -np.inf)
    rows = np.arange(len(corners))
    first, last = low.argmin(axis=1), high.argmax(axis=1)
    return points[rows, first], points[rows, last], low[rows, first], high[rows, last]
