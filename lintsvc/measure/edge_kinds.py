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
        # How sharp it is beyond does not matter once it is sharp enough.
        enough = turn / _SHARPER
        if turn > CREASE_DEG or (
            _SHARPER * _beyond(h, enough, vertices, faces, normals, mates, turns) < turn
            and _SHARPER * _beyond(mates[h], enough, vertices, faces, normals, mates, turns) < turn
        ):
            kind = CORNER
        kinds[h] = kind
        kinds[mates[h]] = kind


def bluntly_round(mesh: Mesh) -> NDArray[np.bool_]:
    """(3 m,) which half-edges turn like a crease but are of a round in two or so facets a quarter."""
    found = np.zeros(3 * len(mesh), bool)
    in_parts(_bluntly_round, len(found), mesh.vertices, mesh.faces, mesh.normals, mesh.mates, mesh.turns, found)
    return found


@compiled
def _bluntly_round(
    start: int, stop: int, vertices: Any, faces: Any, normals: Any, mates: Any, turns: Any, found: Any
) -> None:
    for h in range(start, stop):
        turn = turns[h]
        if abs(turn) <= CREASE_DEG or abs(turn) >= _STILL_ROUND_DEG or mates[h] < h:
            continue
        mine, width = _across(h, vertices, faces, normals, mates, turns)
        its, breadth = _across(mates[h], vertices, faces, normals, mates, turns)
        # Half as much where the round runs into a flat; as much where it goes on over facets of one width.
        into_flat = 0.45 < mine / turn < 0.55 or 0.45 < its / turn < 0.55
        goes_on = 0.95 < mine / turn < 1.05 or 0.95 < its / turn < 1.05
        if into_flat or (goes_on and 0.95 * width < breadth < 1.05 * width):
            found[h] = True
            found[mates[h]] = True


@compiled
def _across(h: int, vertices: Any, faces: Any, normals: Any, mates: Any, turns: Any) -> Any:
    """By how many degrees the surface turns at the other side of the facet, and how far off that is; 0 for nothing."""
    leave = h
    x, y, z, a, b, c = _way_in(h, vertices, faces, normals)
    far = 0.0
    for _ in range(_STEPS):
        leave, step = _leave(leave, x, y, z, a, b, c, vertices, faces, normals)
        if leave < 0 or mates[leave] < 0:
            return 0.0, 0.0
        x += step * a
        y += step * b
        z += step * c
        far += step
        if abs(turns[leave]) > _FLAT_DEG:
            return float(turns[leave]), far
        leave = mates[leave]
        if _is_bare(normals, leave // 3):
            return 0.0, 0.0
    return 0.0, 0.0


# In plain numbers all along: small arrays of three would take many times as long here.


@compiled
def _way_in(h: int, vertices: Any, faces: Any, normals: Any) -> Any:
    """Middle of a half-edge, and the unit vector square to it, into its face: six numbers."""
    f = h // 3
    i = faces[f, h % 3]
    j = faces[f, (h % 3 + 1) % 3]
    u = vertices[j, 0] - vertices[i, 0]
    v = vertices[j, 1] - vertices[i, 1]
    w = vertices[j, 2] - vertices[i, 2]
    a = normals[f, 1] * w - normals[f, 2] * v
    b = normals[f, 2] * u - normals[f, 0] * w
    c = normals[f, 0] * v - normals[f, 1] * u
    length = max(np.sqrt(a * a + b * b + c * c), 1e-300)
    x = (vertices[i, 0] + vertices[j, 0]) / 2
    y = (vertices[i, 1] + vertices[j, 1]) / 2
    z = (vertices[i, 2] + vertices[j, 2]) / 2
    return x, y, z, a / length, b / length, c / length


@compiled
def _leave(
    came: int, x: float, y: float, z: float, a: float, b: float, c: float, vertices: Any, faces: Any, normals: Any
) -> Any:
    """The half-edge over which the way (a, b, c) from (x, y, z) through a face leaves it, -1 for none, and how far
    that is."""
    f = came // 3
    leave = -1
    least = np.inf
    for k in range(3):
        edge = 3 * f + k
        if edge == came:
            continue
        i = faces[f, k]
        j = faces[f, (k + 1) % 3]
        u = vertices[j, 0] - vertices[i, 0]
        v = vertices[j, 1] - vertices[i, 1]
        w = vertices[j, 2] - vertices[i, 2]
        # Square to the edge, inward.
        p = normals[f, 1] * w - normals[f, 2] * v
        q = normals[f, 2] * u - normals[f, 0] * w
        r = normals[f, 0] * v - normals[f, 1] * u
        rate = p * a + q * b + r * c
        if rate >= 0.0:
            continue
        step = -(p * (x - vertices[i, 0]) + q * (y - vertices[i, 1]) + r * (z - vertices[i, 2])) / rate
        if step < least:
            least = step
            leave = edge
    return leave, max(least, 0.0)


@compiled
def _is_bare(normals: Any, f: int) -> Any:
    """Whether a face has no normal."""
    return normals[f, 0] == 0.0 and normals[f, 1] == 0.0 and normals[f, 2] == 0.0


@compiled
def _beyond(h: int, enough: float, vertices: Any, faces: Any, normals: Any, mates: Any, turns: Any) -> Any:
    """By how many degrees the surface turns beyond the facet, straight across from a half-edge's middle; 0 where it
    ends there, at a corner or at nothing. What is more than `enough` may be more still."""
    leave = h
    x, y, z, a, b, c = _way_in(h, vertices, faces, normals)
    crossed = 0
    sharpest = 0.0
    for _ in range(_STEPS):
        leave, step = _leave(leave, x, y, z, a, b, c, vertices, faces, normals)
        if leave < 0 or mates[leave] < 0:
            return sharpest
        turn = abs(turns[leave])
        if turn >= _STILL_ROUND_DEG:
            return sharpest
        sharpest = max(sharpest, turn)
        crossed += turn > _FLAT_DEG
        # A hair more, for the rounding of the quotient.
        if crossed == _EDGES or sharpest > enough * (1 + 1e-6):
            return sharpest
        x += step * a
        y += step * b
        z += step * c
        leave = mates[leave]
        # A face without a normal has no direction across.
        if _is_bare(normals, leave // 3):
            return sharpest
    return sharpest
