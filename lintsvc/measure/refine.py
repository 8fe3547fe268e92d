"""From the least width among the points of a place to the least width of the place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import look_around
from lintsvc.measure.creases import Creases
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.solids import Solids
from lintsvc.measure.wedges import runs_out
from lintsvc.measure.widths import SPACING_MM, Widths, widths_at

#: Steps of the search, in spacings of the points.
_STEPS = (0.6, 0.4, 0.25, 0.15, 0.08, 0.04, 0.02)
_DIRECTIONS = 8
#: A step is worth while from a thousandth on: a place of even width is shown where it was.
_WORTH = 0.999
#: A step may go round a bend, not over an edge.
_SAME_SIDE = 0.7


def refine(
    mesh: Mesh, creases: Creases, solids: Solids, least: Widths, is_round: NDArray[np.bool_], opposed: float
) -> Widths:
    """Walk from each of (n,) points over the surface to a smaller width close by, as long as there is one.

    Only widths count whose sides are opposed to within the cosine `opposed`, whose ball lies inside and which
    are round where the point was: a walk must not leave a pin for the wall beside it, nor run out to a sharp edge.
    Returns the n points found, each the same or better.
    """
    best = least
    turns = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    for step in _STEPS:
        across, along = _tangents(best.normal)
        count = len(best)
        ways = across[:, None] * np.cos(turns)[:, None] + along[:, None] * np.sin(turns)[:, None]
        tried = (best.point[:, None] + step * SPACING_MM * ways).reshape(-1, 3)
        owner = np.repeat(np.arange(count), _DIRECTIONS)
        on = nearest(mesh.bvh, tried, np.full(len(tried), step * SPACING_MM))
        normal = mesh.normals[on.face]
        facing = np.einsum("ij,ij->i", normal, best.normal[owner])
        good = np.flatnonzero((on.face >= 0) & (facing > _SAME_SIDE))
        found, which = widths_at(mesh, solids, on.place[good], on.face[good], normal[good], best.side, best.cap_mm)
        owner = owner[good][which]
        better = np.flatnonzero((found.width < best.width[owner] * _WORTH) & (found.opposed <= opposed))
        found, owner = found.take(better), owner[better]
        around = look_around(mesh.bvh, found.centres(), found.normal, found.raw / 2, found.side)
        good_walls = around.inside & (around.is_round(found.width) == is_round[owner])
        good_walls[runs_out(mesh, creases, found).points] = False
        alike = np.flatnonzero(good_walls)
        found, owner = found.take(alike), owner[alike]
        if not len(found):
            continue
        order = np.lexsort((found.width, owner))
        first = order[np.unique(owner[order], return_index=True)[1]]
        best = best.replaced(owner[first], found.take(first))
    return best


def _tangents(normal: Floats) -> tuple[Floats, Floats]:
    """Two directions at right angles to (n, 3) unit normals and to each other."""
    # The axis least along the normal never vanishes in the product.
    axis = np.eye(3)[np.abs(normal).argmin(axis=1)]
    across = np.cross(normal, axis)
    across /= np.linalg.norm(across, axis=1)[:, None]
    return across, np.cross(normal, across)
