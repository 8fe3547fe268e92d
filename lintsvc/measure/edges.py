"""Which faces meet at an edge."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled
from lintsvc.measure.joining import numbered, unite

#: Values of a half-edge's mate that are no half-edge. From CROWDED downward: more than two faces.
OPEN = -1
NO_EDGE = -2
CROWDED = -3


def mates(faces: NDArray[np.int32], vertex_count: int) -> NDArray[np.int32]:
    """Pair the half-edges of (m, 3) faces.

    Half-edge `3 f + k` runs from corner k of face f to corner k + 1 (modulo 3). Returns (3 m,)
    int32: the other half-edge where exactly two faces meet (whichever way they are wound: two that
    run the same way round are flipped against each other, `faces.flat[h] == faces.flat[mate]`);
    `OPEN` for one face; `NO_EDGE` where both corners are one vertex; for more than two faces
    `CROWDED - next`, where `next` is the next half-edge in the ring around that edge.
    Two faces on the same three corners count like any others.
    """
    mate: NDArray[np.int32] = _mates(faces, vertex_count)
    return mate


@compiled
def _mates(faces: Any, vertex_count: int) -> Any:
    """Bucket half-edges by their lower vertex, then match by the higher one."""
    count = faces.shape[0]
    start = np.zeros(vertex_count + 1, np.int32)
    for f in range(count):
        for k in range(3):
            a = faces[f, k]
            b = faces[f, k - 2]
            start[min(a, b) + 1] += 1
    for v in range(vertex_count):
        start[v + 1] += start[v]
    at = start[:-1].copy()
    high = np.empty(3 * count, np.int32)
    edge = np.empty(3 * count, np.int32)
    for f in range(count):
        for k in range(3):
            a = faces[f, k]
            b = faces[f, k - 2]
            p = at[min(a, b)]
            at[min(a, b)] += 1
            high[p] = max(a, b)
            edge[p] = 3 * f + k
    mate = np.full(3 * count, OPEN, np.int32)
    for v in range(vertex_count):
        low = start[v]
        end = start[v + 1]
        if end - low > 24:
            # A hub of many faces: sort, else matching would grow with the square.
            order = np.argsort(high[low:end], kind="mergesort")
            high[low:end] = high[low:end][order]
            edge[low:end] = edge[low:end][order]
        else:
            for i in range(low + 1, end):
                h = high[i]
                e = edge[i]
                j = i - 1
                while j >= low and high[j] > h:
                    high[j + 1] = high[j]
                    edge[j + 1] = edge[j]
                    j -= 1
                high[j + 1] = h
                edge[j + 1] = e
        i = low
        while i < end:
            j = i + 1
            while j < end and high[j] == high[i]:
                j += 1
            if high[i] == v:
                for q in range(i, j):
                    mate[edge[q]] = NO_EDGE
            elif j - i == 2:
                mate[edge[i]] = edge[i + 1]
                mate[edge[i + 1]] = edge[i]
            elif j - i > 2:
                for q in range(i, j):
                    mate[edge[q]] = CROWDED - edge[q + 1 if q + 1 < j else i]
            i = j
    return mate


def shells(mate: NDArray[np.int32]) -> tuple[NDArray[np.int32], int]:
    """Number the faces by what hangs together over shared edges, those of more than two faces too.

    Returns (m,) int32 labels from 0, in order of the lowest face number, and how many there are.
    """
    labels, count = _shells(mate)
    return labels, int(count)


@compiled
def _shells(mate: Any) -> Any:
    count = mate.shape[0] // 3
    parent = np.arange(count).astype(np.int32)
    for h in range(3 * count):
        other = mate[h]
        if other <= CROWDED:
            unite(parent, h // 3, (CROWDED - other) // 3)
        elif other > h:  # of two half-edges the first will do
            unite(parent, h // 3, other // 3)
    return numbered(parent)


@compiled
def turns_at(start: int, stop: int, vertices: Any, faces: Any, normals: Any, mates: Any, turn: Any) -> None:
    """Fill in how the surface turns at each half-edge (see `Mesh.turns`)."""
    for h in range(start, stop):
        turn[h] = 0.0
        other = mates[h]
        if other < 0:
            continue
        f = h // 3
        g = other // 3
        if not (normals[f].any() and normals[g].any()):
            continue
        c = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
        if c > 0.9999999:
            continue
        apex = faces[g, (other % 3 + 2) % 3]
        a = faces[f, h % 3]
        height = 0.0
        for k in range(3):
            height += (vertices[apex, k] - vertices[a, k]) * normals[f, k]
        angle = np.degrees(np.arccos(max(-1.0, min(1.0, c))))
        turn[h] = angle if height > 0 else -angle
