"""Points spread over the faces of a mesh: one a cell of small faces, more on large and on long ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.cells import Cells, find_cells
from lintsvc.measure.compiled import compiled
from lintsvc.measure.mesh import Mesh

#: Most points on one face; 2 000 x 2 000 mm at 1 mm.
MOST_ON_A_FACE = 4_000_000


@dataclass(frozen=True, eq=False)
class Samples:
    """`points` (n, 3) on the faces `face` (n,), in order of the faces; `first` (m + 1,): where a face's begin.

    Only the first faces of cells have any, and of those only the ones with a normal.
    """

    points: NDArray[np.float64]
    face: NDArray[np.int32]
    first: NDArray[np.int64]
    cells: Cells

    def area(self, chosen: NDArray[np.intp]) -> NDArray[np.float64]:
        """The area that each of the chosen points stands for."""
        face = self.face[chosen]
        share: NDArray[np.float64] = self.cells.area[face] / (self.first[face + 1] - self.first[face])
        return share


def sample(mesh: Mesh, spacing: float) -> Samples:
    """Spread points about `spacing` mm apart: one a cell, or as many as area / spacing2 or longest edge / spacing."""
    cells = find_cells(mesh, spacing)
    first = _counts(mesh.vertices, mesh.faces, mesh.normals, mesh.areas, cells.count, spacing, MOST_ON_A_FACE)
    total = int(first[-1])
    points = np.empty((total, 3))
    face = np.empty(total, np.int32)
    _spread(mesh.vertices, mesh.faces, first, points, face)
    return Samples(points, face, first, cells)


def spread_by_area(mesh: Mesh, spacing: float) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """About one point for every `spacing` squared of surface, however many faces that is: (n, 3) and their faces.

    For large things on fine meshes; small faces may get none.
    """
    kept = np.flatnonzero(mesh.normals.any(axis=1))
    passed = np.cumsum(mesh.areas[kept])
    if not len(kept):
        return np.empty((0, 3)), np.empty(0, np.int32)
    total = max(1, int(passed[-1] / (spacing * spacing)))
    face = kept[np.searchsorted(passed, (np.arange(total) + 0.5) / total * passed[-1])].astype(np.int32)
    # The how many-th point on its face, for the place in the triangle.
    turn = np.arange(total) - np.searchsorted(face, face)
    several = np.bincount(face, minlength=len(mesh))[face] > 1
    u = np.where(several, (0.5 + 0.7548776662466927 * (turn + 1)) % 1.0, 1 / 3)
    v = np.where(several, (0.5 + 0.5698402909980532 * (turn + 1)) % 1.0, 1 / 3)
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    a, b, c = (mesh.vertices[mesh.faces[face, k]] for k in range(3))
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), face


@compiled
def _counts(vertices: Any, faces: Any, normals: Any, areas: Any, members: Any, spacing: float, most: int) -> Any:
    first = np.empty(faces.shape[0] + 1, np.int64)
    first[0] = 0
    for i in range(faces.shape[0]):
        n = 0
        if members[i] > 1:
            n = 1
        elif members[i] == 1 and (normals[i, 0] != 0 or normals[i, 1] != 0 or normals[i, 2] != 0):
            longest = 0.0
            for k in range(3):
                a = faces[i, k]
                b = faces[i, k - 2]
                x = vertices[a, 0] - vertices[b, 0]
                y = vertices[a, 1] - vertices[b, 1]
                z = vertices[a, 2] - vertices[b, 2]
                longest = max(longest, x * x + y * y + z * z)
            # As floats: a hostile size must not overflow an integer.
            wanted = max(areas[i] / (spacing * spacing), np.sqrt(longest) / spacing)
            n = int(np.ceil(min(max(wanted, 1.0), float(most))))
        first[i + 1] = first[i] + n
    return first


@compiled
def _spread(vertices: Any, faces: Any, first: Any, points: Any, face: Any) -> None:
    """One point stands at the middle; more follow the R2 sequence (M. Roberts, 2018), folded into the triangle.

    Corners are taken from the one opposite the longest edge on, so that a face numbered from
    another corner gets the same points.
    """
    for i in range(faces.shape[0]):
        n = first[i + 1] - first[i]
        if n == 0:
            continue
        top = 0
        longest = -1.0
        for k in range(3):
            a = faces[i, k - 2]
            b = faces[i, k - 1]
            x = vertices[a, 0] - vertices[b, 0]
            y = vertices[a, 1] - vertices[b, 1]
            z = vertices[a, 2] - vertices[b, 2]
            length = x * x + y * y + z * z
            if length > longest:
                longest = length
                top = k
        a = faces[i, top]
        b = faces[i, top - 2]
        c = faces[i, top - 1]
        for j in range(n):
            if n == 1:
                u = 1.0 / 3.0
                v = u
            else:
                u = (0.5 + 0.7548776662466927 * (j + 1)) % 1.0
                v = (0.5 + 0.5698402909980532 * (j + 1)) % 1.0
                if u + v > 1:
                    u = 1 - u
                    v = 1 - v
            w = 1 - u - v
            p = first[i] + j
            for k in range(3):
                points[p, k] = w * vertices[a, k] + u * vertices[b, k] + v * vertices[c, k]
            face[p] = i
