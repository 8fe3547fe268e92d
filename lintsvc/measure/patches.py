"""Stretches of surface without a turn: whole faces of the design, put together from triangles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.edges import OPEN, shells
from lintsvc.measure.mesh import Ints, Mesh


@dataclass(frozen=True, eq=False)
class Patches:
    """`label` (m,): the patch of each face. `count`: how many. `turn`: as `Mesh.turns`."""

    label: Ints
    count: int
    turn: NDArray[np.float32]

    def groups(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Face numbers in order of patches, and where each patch begins (count + 1,)."""
        order = np.argsort(self.label, kind="stable")
        return order, np.searchsorted(self.label[order], np.arange(self.count + 1))


def patches(mesh: Mesh, most_deg: float) -> Patches:
    """Join faces over edges at which the surface turns by less than `most_deg`.

    A face without a normal joins its neighbours. Several measurements ask for the same: the mesh keeps them.
    """
    kept: dict[float, Patches] = mesh.__dict__.setdefault("patches", {})
    if most_deg not in kept:
        turn = mesh.turns
        label, count = shells(np.where(np.abs(turn) < most_deg, mesh.mates, OPEN).astype(np.int32))
        kept[most_deg] = Patches(label, count, turn)
    return kept[most_deg]
