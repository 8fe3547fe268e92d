"""Stretches of surface without a turn: whole faces of the design, put together from triangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled, in_parts
from lintsvc.measure.edges import OPEN, shells
from lintsvc.measure.mesh import Ints, Mesh


@dataclass(frozen=True, eq=False)
class Patches:
    """`label` (m,): the patch of each face. `count`: how many. `turn` (3 m,): at each half-edge how the
    surface turns there in degrees, positive where the body is hollow (an inside corner); 0 at open edges."""

    label: Ints
    count: int
    turn: NDArray[np.float32]

    def groups(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Face numbers in order of patches, and where each patch begins (count + 1,)."""
        order = np.argsort(self.label, kind="stable")
        return order, np.searchsorted(self.label[order], np.arange(self.count + 1))


def patches(mesh: Mesh, most_deg: float) -> Patches:
    """Join faces over edges at which the surface turns by less than `most_deg`.

    A face without a normal joins its neighbours.
    """
    turn = np.empty(len(mesh.mates), np.float32)
    in_parts(_turns, len(turn), mesh.vertices, mesh.faces, mesh.normals, mesh.mates, turn)
    label, count = shells(np.where(np.abs(turn) < most_deg, mesh.mates, OPEN).astype(np.int32))
    return Patches(label, count, turn)


@compiled
def _turns(start: int, stop: int, vertices: Any, faces: Any, normals: Any, mates: Any, turn: Any) -> None:
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
