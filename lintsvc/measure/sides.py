"""Points of the surface that have another side near them, and what is around each."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import Around, look_around
from lintsvc.measure.creases import Creases, segments
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.wedges import beside, runs_into, runs_out
from lintsvc.measure.weld import weld
from lintsvc.measure.widths import SPACING_MM, Widths, octants

#: Two sides that open by more than 30 degrees are no wall but an edge of a part, or a notch.
OPPOSED = -np.cos(np.radians(30.0))
#: From so many points on not each of them is looked around.
_DENSE = 200_000


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where a surface goes through itself or through another: (k, 2, 3) `lines`; `lying` (m,): faces that lie on
    others in one plane."""

    lines: Floats
    lying: NDArray[np.bool_]

    def reach(self, point: tuple[float, float, float], within_mm: float) -> bool:
        """Whether one of the lines comes so near to a place."""
        tree = segments(self.lines[:, 0], self.lines[:, 1])
        return len(self.lines) > 0 and bool(nearest(tree, np.array([point]), np.array([within_mm])).face[0] >= 0)


@dataclass(frozen=True, eq=False)
class Sides:
    """Points that have another side near them and do not just narrow toward an edge, and what is around each.

    `is_round`: the point is on a pin or a hole. `rim`, `across`, `along`: as in `Around`.
    """

    points: Widths
    is_round: NDArray[np.bool_]
    rim: Floats
    across: Floats
    along: Floats

    def below(self, limit_mm: float, rounding_mm: float) -> Sides:
        """Those whose width is below the limit."""
        chosen = np.flatnonzero(self.points.is_below(limit_mm, rounding_mm))
        return Sides(self.points.take(chosen), *(getattr(self, x.name)[chosen] for x in fields(self)[1:]))

    def without(self, mesh: Mesh, crossings: Crossings, doubtful_mm: float) -> Sides:
        """Those that are not where the surface crosses itself: there nobody knows what is material.

        Of faces that lie on others, what is nearer to its other side than `doubtful_mm` goes.
        """
        out = runs_into(mesh, self.points, crossings.lines)
        out = np.concatenate([out, beside(mesh, self.points, out)])
        points = self.points
        flat = np.flatnonzero(points.width < doubtful_mm)
        flat = flat[crossings.lying[points.face[flat]] | crossings.lying[points.contact_face[flat]]]
        kept = np.delete(np.arange(len(points)), np.concatenate([out, flat]))
        return Sides(points.take(kept), *(getattr(self, x.name)[kept] for x in fields(self)[1:]))


def find_sides(mesh: Mesh, creases: Creases, widths: Widths) -> Sides:
    """Look around the points once, for all limits."""
    near = widths.take(np.flatnonzero(widths.opposed <= OPPOSED))
    out = runs_out(mesh, creases, near).points
    out = np.concatenate([out, beside(mesh, near, out)])
    if len(out):
        near = near.take(np.delete(np.arange(len(near)), out))
    around = _look_around(mesh, near)
    kept = np.flatnonzero(around.inside & ~around.is_broadside(near.width))
    is_round = around.is_round(near.width)[kept]
    return Sides(near.take(kept), is_round, around.rim[kept], around.across[kept], around.along[kept])


def _look_around(mesh: Mesh, near: Widths) -> Around:
    """Look around each point; on a very fine mesh around one of those close together on one side of a wall."""
    if len(near) < _DENSE:
        return look_around(mesh.bvh, near.centres(), near.normal, near.raw / 2, near.side)
    first, cell = weld(np.floor(near.point / (SPACING_MM / 2)), octants(near.normal))
    some = near.take(first)
    around = look_around(mesh.bvh, some.centres(), some.normal, some.raw / 2, some.side)
    return Around(around.inside[cell], around.across[cell], around.along[cell], around.rim[cell])
