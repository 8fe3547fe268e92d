"""Bodies broken in one known way, as vertices and faces made in code. Lengths are mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from parts.meshfiles import Faces, Points, box

Mesh = tuple[Points, Faces]


def join(*parts: Mesh) -> Mesh:
    """Put bodies side by side in one list; equal places stay two vertices."""
    at, faces = 0, []
    for vertices, corners in parts:
        faces.append(corners + at)
        at += len(vertices)
    return np.concatenate([v for v, _ in parts]), np.concatenate(faces)


def moved(body: Mesh, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Mesh:
    return body[0] + np.array([x, y, z]), body[1]


def without(body: Mesh, *faces: int) -> Mesh:
    return body[0], np.delete(body[1], faces, axis=0)


def flip(body: Mesh, *faces: int) -> Mesh:
    """Turn some faces over."""
    corners = body[1].copy()
    corners[list(faces)] = corners[list(faces)][:, ::-1]
    return body[0], corners


def turn_over(body: Mesh) -> Mesh:
    """Turn all faces over: a solid becomes a void."""
    return body[0], body[1][:, ::-1].copy()


def doubled(body: Mesh, *faces: int) -> Mesh:
    """Draw some faces twice."""
    return body[0], np.concatenate([body[1], body[1][list(faces)]])


def fin(body: Mesh, a: int, b: int, tip: Sequence[float]) -> Mesh:
    """Hang one face on the edge from vertex a to vertex b."""
    return np.concatenate([body[0], [tip]]), np.concatenate([body[1], [[a, b, len(body[0])]]])


def cylinder(radius: float, height: float, segments: int) -> Mesh:
    """A cylinder about z with flat ends; its sides stand on chords of the circle."""
    angle = 2.0 * math.pi * np.arange(segments) / segments
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(segments)], axis=1)
    vertices = np.concatenate([ring, ring + np.array([0, 0, height]), [[0, 0, 0], [0, 0, height]]])
    i = np.arange(segments)
    k = (i + 1) % segments
    low, high = np.full(segments, 2 * segments), np.full(segments, 2 * segments + 1)
    faces = [(i, k, k + segments), (i, k + segments, i + segments), (low, k, i), (high, i + segments, k + segments)]
    return vertices, np.concatenate([np.stack(f, axis=1) for f in faces])


def sphere(radius: float, rings: int = 8, segments: int = 12) -> Mesh:
    """A sphere by latitude and longitude: 2 segments (rings - 1) faces, vertices on the sphere."""
    up = math.pi * np.arange(1, rings) / rings
    around = 2.0 * math.pi * np.arange(segments) / segments
    z, r = np.cos(up)[:, None] + 0 * around, np.sin(up)[:, None] + 0 * around
    body = np.stack([r * np.cos(around), r * np.sin(around), z], axis=2).reshape(-1, 3)
    vertices = radius * np.concatenate([body, [[0, 0, 1], [0, 0, -1]]])
    faces = []
    north, south = len(body), len(body) + 1
    for s in range(segments):
        t = (s + 1) % segments
        faces.append((north, s, t))
        for ring in range(rings - 2):
            a, b = ring * segments, (ring + 1) * segments
            faces += [(a + s, b + s, b + t), (a + s, b + t, a + t)]
        last = (rings - 2) * segments
        faces.append((south, last + t, last + s))
    return vertices, np.array(faces)


def lapping_ring(depth: float, high: float = 5.0) -> Mesh:
    """A square ring, one closed shell, whose two ends reach into each other by `depth` about (10, 18)."""
    outer = [(10 + depth / 2, 20), (0, 20), (0, 0), (20, 0), (20, 19), (10 - depth / 2, 19)]
    inner = [(10 + depth / 2, 16), (4, 16), (4, 4), (16, 4), (16, 17), (10 - depth / 2, 17)]
    flat = np.array(outer + inner, float)
    n = len(outer)
    vertices = np.concatenate([np.column_stack([flat, np.full(2 * n, z)]) for z in (0.0, high)])
    quads = []
    for i in range(n - 1):
        o, p, q, r = i, i + 1, n + i + 1, n + i
        quads += [(o + 2 * n, p + 2 * n, q + 2 * n, r + 2 * n), (o, r, q, p)]
        quads += [(o, p, p + 2 * n, o + 2 * n), (q, r, r + 2 * n, q + 2 * n)]
    for o, r in ((n, 0), (n - 1, 2 * n - 1)):
        quads.append((o, r, r + 2 * n, o + 2 * n))
    return vertices, np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))])


def bow_tie(size: float = 10.0, gap: float = 0.0) -> Mesh:
    """Two cubes corner to corner at (size, size, size), `gap` apart along each axis."""
    return join(box(size, size, size), box(size, size, size, at=(size + gap,) * 3))


def split_edge_box(size: float = 10.0) -> Mesh:
    """A cube with a vertex in the middle of one edge that one of the two faces there does not have.

    A face without area closes the surface: it runs along the edge and over that vertex.
    """
    vertices, faces = box(size, size, size)
    # The edge from vertex 0 to vertex 1, along z, on the faces x = 0 and y = 0.
    vertices = np.concatenate([vertices, [[0.0, 0.0, size / 2]]])
    middle = len(vertices) - 1
    own = next(i for i, f in enumerate(faces) if (0, 1) in zip(f, np.roll(f, -1), strict=True))
    a, b, c = np.roll(faces[own], -next(k for k in range(3) if faces[own][k] == 0))
    split = [(a, middle, c), (middle, b, c), (a, b, middle)]
    return vertices, np.concatenate([np.delete(faces, own, axis=0), split])


def sliver_box(count: int, height: float, side: float = 1.0) -> Mesh:
    """A cube with `count` slivers of about `height` in its upper face, from one corner, and as many in a side."""
    vertices, faces = box(side, side, side)
    corner = {tuple(v): i for i, v in enumerate(vertices.tolist())}
    pivot, start, end = corner[0.0, 0.0, side], corner[side, 0.0, side], corner[side, side, side]
    upper = [i for i, f in enumerate(faces) if (vertices[f][:, 2] == side).all()]
    wall = [i for i, f in enumerate(faces) if start in f and end in f and i not in upper]
    fan = [start, *range(len(vertices), len(vertices) + count), end]
    points = [[side, height * (i + 1), side] for i in range(count)]
    foot = next(int(v) for v in faces[wall[0]] if v not in (start, end))
    new = [(pivot, a, b) for a, b in pairwise(fan)]
    new += [(foot, b, a) for a, b in pairwise(fan)]
    new.append((pivot, end, corner[0.0, side, side]))
    kept = np.delete(faces, upper + wall, axis=0)
    return np.concatenate([vertices, points]), np.concatenate([kept, new])


def mobius(segments: int = 24, radius: float = 20.0, width: float = 8.0) -> Mesh:
    """A strip that is joined to itself with half a turn."""
    angle = 2.0 * math.pi * np.arange(segments) / segments
    across = np.array([-width / 2, width / 2])
    r = radius + across[None] * np.cos(angle / 2)[:, None]
    vertices = np.stack(
        [r * np.cos(angle)[:, None], r * np.sin(angle)[:, None], across[None] * np.sin(angle / 2)[:, None]], axis=2
    ).reshape(-1, 3)
    faces = []
    for i in range(segments):
        a, b = 2 * i, 2 * i + 1
        c, d = (2 * i + 2, 2 * i + 3) if i + 1 < segments else (1, 0)
        faces += [(a, b, d), (a, d, c)]
    return vertices, np.array(faces)
