"""Small faces of a fine mesh taken together, so that points stand as far apart on it as on a coarse one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled
from lintsvc.measure.mesh import Mesh

#: A cell reaches this share of the spacing from its first face's middle, over faces that hardly turn: what lies across
#: is measured from the middle for all of them. With 8 degrees a lattice takes a quarter longer, with 16 fewer of its
#: thinnest places are found.
_REACH = 0.75
_TURN = np.cos(np.radians(12.0))


@dataclass(frozen=True, eq=False)
class Cells:
    """Which faces are taken together. A cell is named by its first face, which lies in its middle.

    `of_face` (m,): the first face of each face's cell. `members` (m,): faces in order of cells;
    `start`, `count` (m,): where a first face's cell is in `members`, and how many faces it has (0 for
    others). `area` (m,): of the cell of a first face.
    """

    of_face: NDArray[np.int32]
    members: NDArray[np.int32]
    start: NDArray[np.int32]
    count: NDArray[np.int32]
    area: NDArray[np.float64]

    def faces(self, first: NDArray[Any]) -> NDArray[np.int32]:
        """All faces of the cells of these faces, sorted."""
        # Sorted, then the first of each run: several times faster than NumPy's unique, which hashes.
        firsts = np.sort(self.of_face[first])
        first = firsts[np.append(True, firsts[1:] != firsts[:-1])] if len(firsts) else firsts
        count = self.count[first]
        # For each cell the numbers from its start on.
        at = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(self.start[first], count)
        return np.sort(self.members[at])


def find_cells(mesh: Mesh, spacing: float) -> Cells:
    """Take together the faces that are much smaller than the spacing. A face without a normal is a cell of its own."""
    return Cells(*_cells(mesh.vertices, mesh.faces, mesh.normals, mesh.areas, mesh.mates, _REACH * spacing))


@compiled
def _cells(vertices: Any, faces: Any, normals: Any, areas: Any, mates: Any, reach: float) -> Any:
    total = faces.shape[0]
    of_face = np.full(total, -1, np.int32)
    members = np.empty(total, np.int32)
    start = np.zeros(total, np.int32)
    count = np.zeros(total, np.int32)
    area = np.zeros(total)
    used = 0
    for seed in range(total):
        if of_face[seed] >= 0:
            continue
        of_face[seed] = seed
        start[seed] = used
        members[used] = seed
        used += 1
        area[seed] = areas[seed]
        at = used - 1
        x = (vertices[faces[seed, 0], 0] + vertices[faces[seed, 1], 0] + vertices[faces[seed, 2], 0]) / 3
        y = (vertices[faces[seed, 0], 1] + vertices[faces[seed, 1], 1] + vertices[faces[seed, 2], 1]) / 3
        z = (vertices[faces[seed, 0], 2] + vertices[faces[seed, 1], 2] + vertices[faces[seed, 2], 2]) / 3
        if _far(vertices, faces, seed, x, y, z, reach):
            at = used
        while at < used:
            f = members[at]
            at += 1
            for k in range(3):
                other = mates[3 * f + k]
                if other < 0:
                    continue
                g = other // 3
                if of_face[g] >= 0:
                    continue
                turn = 0.0
                for j in range(3):
                    turn += normals[g, j] * normals[seed, j]
                if turn < _TURN or _far(vertices, faces, g, x, y, z, reach):
                    continue
                of_face[g] = seed
                members[used] = g
                used += 1
                area[seed] += areas[g]
        count[seed] = used - start[seed]
    return of_face, members, start, count, area


@compiled
def _far(vertices: Any, faces: Any, f: int, x: float, y: float, z: float, reach: float) -> Any:
    """Whether a corner of the face is farther than reach from the point."""
    for k in range(3):
        v = faces[f, k]
        a = vertices[v, 0] - x
        b = vertices[v, 1] - y
        c = vertices[v, 2] - z
        if a * a + b * b + c * c > reach * reach:
            return True
    return False
