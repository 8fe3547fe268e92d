"""What a soundness measurement hands to a rule: one defect, with its place, size and number of faces or edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.model.finding import Point3, Where

#: So many defects of one kind are told one by one, worst first; the rest are told in one.
SHOWN = 10
#: So many faces and lines of one defect are listed; its counts stay true.
LISTED = 5000
LINES = 2000


@dataclass(frozen=True, slots=True)
class Defect:
    """One connected defect. `value`: what the rule measures, by its rule. `count`: faces or edges in it.

    `alike`: how many defects are told in this one; then `value` is that of the worst of them.
    """

    where: Where
    value: float
    count: int
    kind: str = ""
    alike: int = 1
    #: A second number that a message may need, such as a radius.
    more: float = 0.0


def point3(values: Any) -> Point3:
    """Return three plain floats."""
    return (float(values[0]), float(values[1]), float(values[2]))


def _box(points: Floats) -> tuple[Point3, Point3]:
    return point3(points.min(axis=0)), point3(points.max(axis=0))


def at_faces(mesh: Mesh, faces: NDArray[Any], *, point: Floats | None = None, lines: Floats | None = None) -> Where:
    """Return the place of some faces. The point is the middle of the face nearest to the middle of them all.

    `lines`: (k, 2, 3) pieces to draw.
    """
    faces = np.sort(faces)
    corners = mesh.vertices[mesh.faces[faces]]
    if point is None:
        middles = corners.mean(axis=1)
        areas = mesh.areas[faces]
        middle = areas @ middles / areas.sum() if areas.sum() > 0 else middles.mean(axis=0)
        point = middles[np.argmin(((middles - middle) ** 2).sum(axis=1))]
    return Where(
        point=point3(point),
        box=_box(corners.reshape(-1, 3)),
        faces=tuple(faces[:LISTED].tolist()),
        lines=() if lines is None else _lines(lines),
    )


def at_edges(mesh: Mesh, ends: NDArray[Any], faces: NDArray[Any], *, on_edge: bool = False) -> Where:
    """Return the place of edges, given as (k, 2) vertices, with the faces beside them.

    The point is the middle of the edges by length, moved onto the nearest edge where `on_edge`.
    """
    pieces = mesh.vertices[ends]
    lengths = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    middles = pieces.mean(axis=1)
    middle = lengths @ middles / lengths.sum() if lengths.sum() > 0 else middles.mean(axis=0)
    if on_edge:
        middle = middles[np.argmin(((middles - middle) ** 2).sum(axis=1))]
    listed = np.unique(faces)[:LISTED]
    return Where(point3(middle), _box(pieces.reshape(-1, 3)), tuple(listed.tolist()), lines=_lines(pieces))


def _lines(pieces: Floats) -> tuple[tuple[Point3, Point3], ...]:
    return tuple((point3(a), point3(b)) for a, b in pieces[:LINES])


def worst_first(
    label: NDArray[Any],
    value: NDArray[Any],
    middles: Floats,
    make: Callable[[NDArray[np.int64]], Defect],
    shown: int = SHOWN,
) -> tuple[Defect, ...]:
    """Make the defects of largest value one by one and the tail as one.

    `label`: (k,) which defect a row (an edge, a face, a pair) belongs to, 0 to n - 1, each used. `value`:
    (n,). `middles`: (k, 3) where the rows are; they settle ties, so that the order of faces says nothing.
    `make` turns rows into a defect.
    """
    if not len(label):
        return ()
    rows = np.bincount(label)
    mean = np.stack([np.bincount(label, weights=middles[:, k]) / rows for k in range(3)], axis=1)
    near = np.array([float(f"{x:.9g}") for x in value]) if len(value) <= LISTED else value
    order = np.lexsort((*np.round(mean.T, 6), -rows, -near))
    # One that is left over is better told than counted.
    head = order if len(order) <= shown + 1 else order[:shown]
    told = [replace(make(np.flatnonzero(label == g)), value=float(value[g])) for g in head]
    if len(head) < len(order):
        rest = np.flatnonzero(~np.isin(label, head))
        told.append(replace(make(rest), value=float(value[order[shown]]), alike=len(order) - shown))
    return tuple(told)
