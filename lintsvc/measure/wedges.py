"""Two sides that come together: where they would meet, and whether a sharp edge is there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE
from lintsvc.measure.creases import Creases, nearest_segment
from lintsvc.measure.mesh import Floats, Mesh
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
