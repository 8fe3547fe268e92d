"""Thickness and gap all over a part, for a picture in colours: large faces in pieces, small ones taken together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE, OUTSIDE
from lintsvc.measure.cells import find_cells
from lintsvc.measure.compiled import compiled
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.solids import Solids
from lintsvc.measure.widths import widths_at

#: Pieces are no longer than this, mm, on a part of usual size.
_LONGEST_MM = 0.8
#: Slivers may be longer by this factor: what they cover is little.
_SLIVER = 4.0
#: So many pieces at most, beside one a face; where they are more, all pieces are made longer.
_MOST = 300_000
_LONGER = 1.4


@dataclass(frozen=True, eq=False)
class WidthMap:
    """`splits`: how each face, in the order asked for, falls into pieces. A piece is a byte: 0 for whole; 1, 2, 3:
    halved in the middle of its edge from corner 0, 1, 2 to the next, and both halves follow. Of a triangle (a, b, c)
    halved at m between a and b, the halves are (a, m, c) and (m, b, c).

    `wall`, `gap` (pieces,): the width in the middle of each whole piece in that order, mm; infinite where nothing
    is within `cap_mm`.
    """

    splits: NDArray[np.uint8]
    wall: NDArray[np.float64]
    gap: NDArray[np.float64]
    cap_mm: float
    longest_mm: float


def map_widths(mesh: Mesh, solids: Solids, order: NDArray[np.int64], cap_mm: float) -> WidthMap:
    """Measure wall thickness and gap width up to `cap_mm` all over the mesh, in pieces of its faces.

    `order` (m,): the faces' numbers in the order in which they are wanted.
    """
    cells = find_cells(mesh, _LONGEST_MM)
    # A face that is taken together with others stays whole, and has the width of the cell's first.
    alone = (cells.count == 1) & mesh.normals.any(axis=1)
    splits, middle, face, longest = _pieces(mesh, order, alone)
    first = cells.of_face[face]
    measured = np.flatnonzero((first == face) & mesh.normals[face].any(axis=1))
    sides = []
    for side in (INSIDE, OUTSIDE):
        at = face[measured]
        found, which = widths_at(mesh, solids, middle[measured], at, mesh.normals[at], side, cap_mm)
        width = np.full(len(face), np.inf)
        width[measured[which]] = found.width
        # The first face of a cell is one whole piece.
        of_cell = np.full(len(mesh), np.inf)
        of_cell[face] = width
        others = np.flatnonzero(first != face)
        width[others] = of_cell[first[others]]
        sides.append(width)
    return WidthMap(splits, sides[0], sides[1], cap_mm, longest)


def _pieces(
    mesh: Mesh, order: NDArray[np.int64], alone: NDArray[np.bool_]
) -> tuple[NDArray[np.uint8], NDArray[np.float64], NDArray[np.int32], float]:
    """Return the splits, the middle (n, 3) of each whole piece, the face (n,) it belongs to, and how long they are."""
    nothing = np.empty(0, np.uint8), np.empty((0, 3)), np.empty(0, np.int32)
    # Even triangles as long have a quarter of the square of their length as area, or less when they were halved.
    longest = max(_LONGEST_MM, float(np.sqrt(4 * mesh.areas.sum() / _MOST)))
    most = _MOST + len(order)
    codes, pieces = _split(mesh.vertices, mesh.faces, order, alone, longest, most, False, *nothing)
    while pieces > most:
        longest *= _LONGER
        codes, pieces = _split(mesh.vertices, mesh.faces, order, alone, longest, most, False, *nothing)
    made = np.empty(codes, np.uint8), np.empty((pieces, 3)), np.empty(pieces, np.int32)
    _split(mesh.vertices, mesh.faces, order, alone, longest, most, True, *made)
    return *made, longest


@compiled
def _split(
    vertices: Any,
    faces: Any,
    order: Any,
    alone: Any,
    longest: float,
    most: int,
    write: bool,
    codes: Any,
    middle: Any,
    face: Any,
) -> Any:
    """Halve each face along its longest edge until no piece is longer, slivers excepted; counts only, unless `write`.

    Stops where there are more than `most` pieces.
    """
    # Halving the longest edge at least halves it within two levels: 64 are far more than doubles can need.
    stack = np.empty((64, 3, 3))
    sliver2 = (_SLIVER * longest) ** 2
    at = 0
    piece = 0
    for f in order:
        if piece > most:
            break
        for k in range(3):
            for axis in range(3):
                stack[0, k, axis] = vertices[faces[f, k], axis]
        height = 1
        while height > 0:
            height -= 1
            edge = 0
            if alone[f] and height < 60:
                long2 = longest * longest
                for k in range(3):
                    length2 = 0.0
                    for axis in range(3):
                        d = stack[height, (k + 1) % 3, axis] - stack[height, k, axis]
                        length2 += d * d
                    if length2 > long2:
                        long2 = length2
                        edge = k + 1
                if edge and long2 < sliver2 and _area(stack[height]) < longest * longest / 8:
                    edge = 0
            if write:
                codes[at] = edge
            at += 1
            if edge == 0:
                if write:
                    for axis in range(3):
                        total = stack[height, 0, axis] + stack[height, 1, axis] + stack[height, 2, axis]
                        middle[piece, axis] = total / 3
                    face[piece] = f
                piece += 1
                continue
            a = edge - 1
            b = edge % 3
            # The second half lies below the first, which is looked at next.
            for axis in range(3):
                half = (stack[height, a, axis] + stack[height, b, axis]) / 2
                for k in range(3):
                    stack[height + 1, k, axis] = stack[height, k, axis]
                stack[height, a, axis] = half
                stack[height + 1, b, axis] = half
            height += 2
    return at, piece


@compiled
def _area(corners: Any) -> Any:
    ux, uy, uz = corners[1, 0] - corners[0, 0], corners[1, 1] - corners[0, 1], corners[1, 2] - corners[0, 2]
    vx, vy, vz = corners[2, 0] - corners[0, 0], corners[2, 1] - corners[0, 1], corners[2, 2] - corners[0, 2]
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    return np.sqrt(x * x + y * y + z * z) / 2
