"""Which edges bend on as facets of a curve do, and which are corners of the design, however blunt.

Where flat facets stand for one curve without a kink, the edge between two of them turns by half of what both stand for,
and the edges before and after it by at least half of what the one or the other does: so none turns by more than twice
as much as the sharper of these two. One that does is a corner, as where an arc runs into a flat at 24 degrees.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.creases import CREASE_DEG
from lintsvc.measure.mesh import Mesh

#: Kinds of edges: within one flat facet, or unknown; between facets of a curve; of the design.
FLAT, BEND, CORNER = 0, 1, 2
#: Faces within 0.8 degrees are one facet.
_FLAT_DEG = 0.81
#: Twice, and a little for facets that are cut askew.
_SHARPER = 2.25
#: A round of two facets a quarter turns by 45 degrees between them; what turns more is no curve that goes on.
_STILL_ROUND_DEG = 50.0
#: The sharper of so many edges beyond counts: on what is curved both ways the first may be a diagonal, all but flat.
_EDGES = 2
#: So many triangles are crossed to the other edge of a facet; one of more is a flat of the design.
_STEPS = 64


def edge_kinds(mesh: Mesh) -> NDArray[np.int8]:
    """(3 m,) FLAT, BEND or CORNER for each half-edge; the mesh keeps them."""
    if "edge_kinds" not in mesh.__dict__:
        kinds = np.zeros(3 * len(mesh), np.int8)
        in_parts(_kinds, len(kinds), mesh.vertices, mesh.faces, mesh.normals, mesh.mates, mesh.turns, kinds)
        mesh.__dict__["edge_kinds"] = kinds
    found: NDArray[np.int8] = mesh.__dict__["edge_kinds"]
    return found


@compiled
def _kinds(start: int, stop: int, vertices: Any, faces: Any, normals: Any, mates: Any, turns: Any, kinds: Any) -> None:
    for h in range(start, stop):
        turn = abs(turns[h])
        # The pair's other half is filled in with it.
        if turn <= _FLAT_DEG or mates[h] < h:
            continue
        kind = BEND
        if turn > CREASE_DEG or (
            _SHARPER * _beyond(h, vertices, faces, normals, mates, turns) < turn
            and _SHARPER * _beyond(mates[h], vertices, faces, normals, mates, turns) < turn
        ):
            kind = CORNER
        kinds[h] = kind
        kinds[mates[h]] = kind


@compiled
def _beyond(h: int, vertices: Any, faces: Any, normals: Any, mates: Any, turns: Any) -> Any:
    """By how many degrees the surface turns beyond the facet, straight across from a half-edge's middle; 0 where it
    ends there, at a corner or at nothing."""
    f = h // 3
    a = faces[f, h % 3]
    b = faces[f, (h % 3 + 1) % 3]
    n = normals[f]
    at = (vertices[a] + vertices[b]) / 2
    # Square to the edge, into the face.
    way = np.cross(n, vertices[b] - vertices[a])
    came = h
    crossed = 0
    sharpest = 0.0
    for _ in range(_STEPS):
        f = came // 3
        n = normals[f]
        leave = -1
        least = np.inf
        for k in range(3):
            edge = 3 * f + k
            if edge == came:
                continue
            p = vertices[faces[f, k]]
            along = vertices[faces[f, (k + 1) % 3]] - p
            inward = np.cross(n, along)
            rate = inward[0] * way[0] + inward[1] * way[1] + inward[2] * way[2]
            if rate >= 0.0:
                continue
            far = 0.0
            for j in range(3):
                far += inward[j] * (at[j] - p[j])
            if -far / rate < least:
                least = -far / rate
                leave = edge
        if leave < 0 or mates[leave] < 0:
            return sharpest
        turn = abs(turns[leave])
        if turn >= _STILL_ROUND_DEG:
            return sharpest
        sharpest = max(sharpest, turn)
        crossed += turn > _FLAT_DEG
        if crossed == _EDGES:
            return sharpest
        at = at + max(least, 0.0) * way
        came = mates[leave]
        # A face without a normal has no direction across.
        if not normals[came // 3].any():
            return sharpest
    return sharpest
