"""Two sides that come together: where they would meet, and whether a sharp edge is there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE
from lintsvc.measure.creases import CREASE_DEG, Creases, nearest_segment, segments
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.patches import patches
from lintsvc.measure.widths import Widths

#: Sides that open by less meet so far away that they are a wall all the same.
NEARLY_PARALLEL_DEG = 0.5
#: An edge is sharp when its sides open by at most 60 degrees: the widest that a ball's two contacts may.
SHARP_COSINE = -0.5
#: The edge lies within this share of the way to where the sides would meet, for they may be curved, and this near.
_NEAR = 0.25
_NEAR_MM = (0.05, 1.0)
#: The sides open at the edge like they do at the point: within a factor, or within a few degrees.
_LIKE = 2.5
_LIKE_DEG = 8.0
#: A ball reaches a line within this many of its diameters: no wall is between, whatever the sides do there.
_AT_LINE = 1.0
#: Points so near to one that runs out to an edge, and whose sides open by more than this, run out to it too.
_BESIDE_MM = 2.0
_OPEN_DEG = 3.0


@dataclass(frozen=True, eq=False)
class RunsOut:
    """Points whose two sides come together in a sharp edge: their numbers, and the number of the crease of each."""

    points: NDArray[np.intp]
    crease: NDArray[np.intp]


def runs_out(mesh: Mesh, creases: Creases, widths: Widths) -> RunsOut:
    """Find the points whose two sides come together in a sharp edge of the mesh."""
    apex, reach = meeting(mesh, widths)
    sharp = np.flatnonzero((creases.convex == (widths.side == INSIDE)) & (creases.cosine <= SHARP_COSINE))
    opening = np.degrees(np.arccos(np.clip(-widths.opposed, -1.0, 1.0)))
    slim = np.flatnonzero((opening > NEARLY_PARALLEL_DEG) & (reach > 0))
    if not len(sharp) or not len(slim):
        return RunsOut(np.empty(0, np.intp), np.empty(0, np.intp))
    a, b = creases.ends(mesh, sharp)
    within = np.minimum(_NEAR * reach[slim], _NEAR_MM[1]) + _NEAR_MM[0]
    distance, edge = nearest_segment(a, b, apex[slim], within)
    angle = 180.0 - np.degrees(np.arccos(np.clip(creases.cosine[sharp][edge], -1.0, 1.0)))
    low, high = np.minimum(angle, opening[slim]), np.maximum(angle, opening[slim])
    alike = (high < _LIKE * low) | (high - low < _LIKE_DEG)
    found = (distance < within) & alike
    return RunsOut(slim[found], sharp[edge[found]])


def runs_into(mesh: Mesh, widths: Widths, lines: Floats) -> NDArray[np.intp]:
    """The numbers of points whose two sides come together in one of (k, 2, 3) lines, or whose ball reaches one."""
    if not len(lines) or not len(widths):
        return np.empty(0, np.intp)
    tree = segments(lines[:, 0], lines[:, 1])
    apex, reach = meeting(mesh, widths)
    within = np.minimum(_NEAR * reach, _NEAR_MM[1]) + _NEAR_MM[0]
    found: NDArray[np.bool_] = (nearest(tree, apex, within).face >= 0) & (reach > 0)
    found |= nearest(tree, widths.centres(), _AT_LINE * widths.raw).face >= 0
    return np.flatnonzero(found)


def beside(mesh: Mesh, widths: Widths, out: NDArray[np.intp]) -> NDArray[np.intp]:
    """The numbers of further points that narrow toward the same edge as the points `out` do.

    On curved sides the planes of two facets meet beside the edge. Such a point has both sides in common with a
    point close by that does run out, and opens like that one.
    """
    if not len(out):
        return out
    opening = np.degrees(np.arccos(np.clip(-widths.opposed, -1.0, 1.0)))
    slim = opening > _OPEN_DEG
    slim[out] = False
    rest = np.flatnonzero(slim)
    known = out[opening[out] > _OPEN_DEG]
    if not len(rest) or not len(known):
        return rest[:0]
    patch = patches(mesh, CREASE_DEG).label
    one, other = patch[widths.face], patch[widths.contact_face]
    pair = np.minimum(one, other).astype(np.int64) * (int(patch.max()) + 1) + np.maximum(one, other)
    _, place = np.unique(pair, return_inverse=True)
    rest = rest[np.isin(place[rest], place[known])]
    # Pairs of faces are laid far apart from each other, so that one search keeps to each of them.
    apart = np.zeros((len(widths), 3))
    apart[:, 0] = place * 4.0 * (mesh.size + _BESIDE_MM)
    there = widths.point[known] + apart[known]
    near = nearest(segments(there, there), widths.point[rest] + apart[rest], np.full(len(rest), _BESIDE_MM))
    like = np.abs(opening[known[np.maximum(near.face, 0)]] - opening[rest]) < _LIKE_DEG
    found: NDArray[np.intp] = rest[(near.face >= 0) & like]
    return found


def meeting(mesh: Mesh, widths: Widths) -> tuple[Floats, Floats]:
    """Where the planes of the two sides meet nearest to the point, (n, 3), and how far that is.

    Parallel sides never meet: such points get their own place, and distance 0.
    """
    other = mesh.normals[widths.contact_face]
    cosine = np.einsum("ij,ij->i", widths.normal, other)
    toward = other - cosine[:, None] * widths.normal
    sine = np.linalg.norm(toward, axis=1)
    parallel = sine < 1e-9
    sine[parallel] = 1.0
    apart = np.abs(np.einsum("ij,ij->i", widths.point - widths.contact, other))
    reach = np.where(parallel, 0.0, apart / sine)
    return widths.point - widths.side * (reach / sine)[:, None] * toward, reach
