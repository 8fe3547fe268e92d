"""From the least width among the points of a place to the least width of the place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import look_around
from lintsvc.measure.balls import INSIDE
from lintsvc.measure.bvh import Bvh
from lintsvc.measure.creases import Creases, segments
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.solids import Solids
from lintsvc.measure.wedges import runs_out
from lintsvc.measure.widths import SPACING_MM, Widths, widths_at

#: Steps of the search, in spacings of the points.
_STEPS = (0.6, 0.4, 0.25, 0.15, 0.08, 0.04, 0.02)
#: Along an edge the width may change quickly: smaller ones too.
_FINE_STEPS = (0.01, 0.005, 0.0025, 0.001, 0.0005)
#: A ball is cut by no more than a way across that is 15 degrees off does.
_CLEAR = np.cos(np.radians(15.0))
_DIRECTIONS = 8
#: A step is worth while from a thousandth on: a place of even width is shown where it was.
_WORTH = 0.999
#: A step may go round a bend, not over an edge.
_SAME_SIDE = 0.7
#: The two sides of a neck are square to the line between them, to within 10 degrees: less than facets of a curve.
_SQUARE = np.cos(np.radians(10.0))
#: A contact as near as this to an edge, in shares of the width, is on it.
_ON_EDGE = 0.02


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


def slide(mesh: Mesh, creases: Creases, solids: Solids, least: Widths, opposed: float) -> Widths:
    """Walk from each of (n,) points on creases along them, corners too, to a smaller width, measured straight across.

    The bottom of a groove has no direction of its own: the shortest way to the other side is its width.
    """
    edges = _edges(mesh, creases, creases.convex != (least.side == INSIDE))
    if edges is None or not len(least):
        return least
    best = least
    for step in (0.0, *_STEPS, *_STEPS[2:], *_FINE_STEPS):
        reach = step * SPACING_MM
        if step > 0:
            ways = np.array([x for x in np.ndindex(3, 3, 3) if x != (1, 1, 1)], float) - 1
            tried = (best.point[:, None] + reach * ways / np.linalg.norm(ways, axis=1)[:, None]).reshape(-1, 3)
            owner = np.repeat(np.arange(len(best)), len(ways))
            on = nearest(edges, tried, np.full(len(tried), reach))
            good = np.flatnonzero(on.face >= 0)
            point, owner = on.place[good], owner[good]
        else:
            point, owner = best.point, np.arange(len(best))
        # Straight across from a new point is elsewhere: once more toward where the first ball touched.
        contact = best.contact[owner]
        for _ in range(3):
            across = contact - point
            length = np.linalg.norm(across, axis=1)
            apart = np.flatnonzero(length > 1e-9)
            point, owner, across = point[apart], owner[apart], across[apart] / length[apart, None]
            found, which = widths_at(
                mesh, solids, point, best.face[owner], best.side * across, best.side, best.cap_mm, facets=False
            )
            point, owner, contact = point[which], owner[which], found.contact
        best = _best_of(mesh, best, found, owner, opposed)
    return best


def _best_of(mesh: Mesh, best: Widths, found: Widths, owner: NDArray[np.intp], opposed: float) -> Widths:
    """Put in the least of what was found for each of `best`, where it is less and the ball lies inside."""
    better = np.flatnonzero((found.width < best.width[owner]) & (found.opposed <= opposed))
    found, owner = found.take(better), owner[better]
    # Straight across is the shortest way at both ends: nothing is nearer to the middle.
    radius = found.raw / 2
    inside = nearest(mesh.bvh, found.centres(), radius).distance >= _CLEAR * radius
    found, owner = found.take(np.flatnonzero(inside)), owner[inside]
    if not len(found):
        return best
    order = np.lexsort((found.width, owner))
    first = order[np.unique(owner[order], return_index=True)[1]]
    return best.replaced(owner[first], found.take(first))


def necks(mesh: Mesh, creases: Creases, least: Widths) -> NDArray[np.bool_]:
    """(n,) whether both sides are square to the line across at the least width, or end in an edge there.

    Then it is the least width all around: a neck, however small. Beside the tip of a wedge the sides are aslant.
    """
    across = (least.contact - least.point) * least.side
    across /= np.maximum(np.linalg.norm(across, axis=1), 1e-12)[:, None]
    edges = _edges(mesh, creases, creases.convex != (least.side == INSIDE))
    square = np.ones(len(least), bool)
    for place, face, way in ((least.point, least.face, across), (least.contact, least.contact_face, -across)):
        facing = np.einsum("ij,ij->i", mesh.normals[face], way)
        near = np.zeros(len(least), bool)
        if edges is not None:
            near = nearest(edges, place, _ON_EDGE * least.width + mesh.rounding_mm).face >= 0
        square &= (facing >= _SQUARE) | near
    return square


def _edges(mesh: Mesh, creases: Creases, chosen: NDArray[np.bool_]) -> Bvh | None:
    """A tree of creases, to find the nearest point on them; None for none."""
    numbers = np.flatnonzero(chosen)
    if not len(numbers):
        return None
    a, b = creases.ends(mesh, numbers)
    return segments(a, b)


def _tangents(normal: Floats) -> tuple[Floats, Floats]:
    """Two directions at right angles to (n, 3) unit normals and to each other."""
    # The axis least along the normal never vanishes in the product.
    axis = np.eye(3)[np.abs(normal).argmin(axis=1)]
    across = np.cross(normal, axis)
    across /= np.linalg.norm(across, axis=1)[:, None]
    return across, np.cross(normal, across)
