"""Where pairs of faces cross: the pieces of line along which they go through each other, or a point of overlap."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.self_crossing import Contacts
from lintsvc.measure.self_crossing_pair import CROSSING


def crossing_lines(mesh: Mesh, found: Contacts) -> Floats:
    """Return (k, 2, 3), one for each pair of kind CROSSING: the ends of the piece along which both cross."""
    found = found.of(found.kind == CROSSING)
    result = np.empty((len(found), 2, 3))
    if not len(found):
        return result
    a, b = mesh.vertices[mesh.faces[found.first]], mesh.vertices[mesh.faces[found.second]]
    normal_a, normal_b = mesh.normals[found.first], mesh.normals[found.second]
    way = np.cross(normal_a, normal_b)
    from_a, to_a, least_a, most_a = _cut(a, b[:, 0], normal_b, way)
    _, _, least_b, most_b = _cut(b, a[:, 0], normal_a, way)
    length = np.where(most_a > least_a, most_a - least_a, 1.0)
    for end, at in ((0, np.maximum(least_a, least_b)), (1, np.minimum(most_a, most_b))):
        share = np.clip((at - least_a) / length, 0.0, 1.0)[:, None]
        result[:, end] = from_a + share * (to_a - from_a)
    return result


def overlap_middle(mesh: Mesh, first: int, second: int) -> Floats:
    """Return the middle of the area over which two faces in one plane lie on each other."""
    shape = list(mesh.vertices[mesh.faces[first]])
    corners = mesh.vertices[mesh.faces[second]]
    # Cut the first face down to what lies within each edge of the second.
    for k in range(3):
        inward = np.cross(mesh.normals[second], corners[(k + 1) % 3] - corners[k])
        kept: list[Floats] = []
        for p, q in zip(shape, [*shape[1:], *shape[:1]], strict=True):
            at_p, at_q = float((p - corners[k]) @ inward), float((q - corners[k]) @ inward)
            if at_p >= 0:
                kept.append(p)
            if at_p * at_q < 0:
                kept.append(p + at_p / (at_p - at_q) * (q - p))
        shape = kept
    middle: Floats = np.mean(shape, axis=0) if shape else corners.mean(axis=0)
    return middle


def _cut(corners: Floats, on_plane: Floats, normal: Floats, way: Floats) -> tuple[Any, Any, Any, Any]:
    """Return the ends of the cut of triangles (k, 3, 3) with planes, and their places along `way`."""
    distance = np.einsum("kij,kj->ki", corners - on_plane[:, None], normal)
    scale = np.abs(distance).max(axis=1, keepdims=True)
    distance = np.where(np.abs(distance) <= 1e-9 * scale, 0.0, distance)
    after, beyond = np.roll(distance, -1, axis=1), np.roll(corners, -1, axis=1)
    crosses = distance * after < 0
    share = np.where(crosses, distance / np.where(crosses, distance - after, 1.0), 0.0)
    points = np.concatenate([corners + share[..., None] * (beyond - corners), corners], axis=1)
    on = distance == 0.0
    # A triangle that only has an edge in the plane, but for rounding: take that edge.
    off = np.flatnonzero(~(crosses | on).any(axis=1))
    on[off[:, None], np.abs(distance[off]).argsort(axis=1)[:, :2]] = True
    valid = np.concatenate([crosses, on], axis=1)
    along = np.einsum("kij,kj->ki", points, way)
    low, high = np.where(valid, along, np.inf), np.where(valid, along, -np.inf)
    rows = np.arange(len(corners))
    first, last = low.argmin(axis=1), high.argmax(axis=1)
    return points[rows, first], points[rows, last], low[rows, first], high[rows, last]
