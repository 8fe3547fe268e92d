"""Points of the surface that have another side near them, and what is around each."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import Around, look_around
from lintsvc.measure.creases import Creases
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.wedges import runs_out
from lintsvc.measure.weld import weld
from lintsvc.measure.widths import SPACING_MM, Widths

#: Two sides that open by more than 30 degrees are no wall but an edge of a part, or a notch.
OPPOSED = -np.cos(np.radians(30.0))
#: From so many points on not each of them is looked around.
_DENSE = 200_000


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


def find_sides(mesh: Mesh, creases: Creases, widths: Widths) -> Sides:
    """Look around the points once, for all limits."""
    near = widths.take(np.flatnonzero(widths.opposed <= OPPOSED))
    out = runs_out(mesh, creases, near).points
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
    octant = ((near.normal > 0) @ np.array([1, 2, 4])).astype(np.int32)
    first, cell = weld(np.floor(near.point / (SPACING_MM / 2)), octant)
    some = near.take(first)
    around = look_around(mesh.bvh, some.centres(), some.normal, some.raw / 2, some.side)
    return Around(around.inside[cell], around.across[cell], around.along[cell], around.rim[cell])
