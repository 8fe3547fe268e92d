"""Edges to which the material thins out to nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE
from lintsvc.measure.cells import Cells
from lintsvc.measure.creases import Creases, nearest_segment
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.topology_groups import components
from lintsvc.measure.wedges import RunsOut, runs_out
from lintsvc.measure.widths import Widths
from lintsvc.model.finding import Point3, Where

#: Points this near the limit tell how far from the edge the limit is reached.
_NEAR_LIMIT = 0.6
#: So many chains are looked at.
_MOST_CHAINS = 300
#: The reach is that of all but the farthest tenth: a single odd point does not set it.
_MOST = 0.9
#: Points that reach so nearly as far are alike.
_ALIKE = 0.01


@dataclass(frozen=True, eq=False)
class Knife:
    """Material that thins out to a chain of sharp edges.

    `reach_mm`: how far from the edge it is still thinner than the limit. `angle_deg`: the sharpest
    between its sides at the edge. `length_mm` of the edge. `span`: from the edge to a farthest thin point.
    """

    reach_mm: float
    angle_deg: float
    length_mm: float
    span: tuple[Floats, Floats]
    lines: tuple[tuple[Point3, Point3], ...]
    faces: Ints
    box: tuple[Floats, Floats]

    def where(self) -> Where:
        """The place as a finding shows it."""
        edge, inner, low, high = (point3(x) for x in (*self.span, *self.box))
        return Where(
            point=edge, box=(low, high), faces=tuple(self.faces.tolist()), lines=self.lines, span=(edge, inner)
        )


def find_knives(
    mesh: Mesh, shell_of_face: Ints, cells: Cells, creases: Creases, walls: Widths, limit_mm: float
) -> list[Knife]:
    """Return the sharp edges by which the material is thinner than the limit, the farthest reach first."""
    if walls.side != INSIDE:
        raise ValueError("knife edges are made of material: give the walls, not the gaps")
    thin = walls.below(limit_mm, mesh.rounding_mm)
    found = runs_out(mesh, creases, thin)
    if not len(found.points):
        return []
    found = _of_one_shell(shell_of_face, creases, thin, found)
    if not len(found.points):
        return []
    thin = thin.take(found.points)
    chain, count = _chains(mesh, creases, np.unique(found.crease))
    label = chain[found.crease]
    order = np.argsort(label, kind="stable")
    starts = np.searchsorted(label[order], np.arange(count + 1))
    knives = []
    # The chains with the most points: a mesh of noise has a sharp edge at every other face.
    for i in np.argsort(starts[:-1] - starts[1:], kind="stable")[:_MOST_CHAINS].tolist():
        members = order[starts[i] : starts[i + 1]]
        knives.append(_knife(mesh, cells, creases, np.flatnonzero(chain == i), thin.take(members), limit_mm))
    return sorted(knives, key=lambda x: -x.reach_mm)


def _of_one_shell(shell: Ints, creases: Creases, thin: Widths, found: RunsOut) -> RunsOut:
    """The points between two sides of the edge's own shell: what lies before a void is a wall, however near an edge."""
    edge = shell[creases.half_edge[found.crease] // 3]
    own = (shell[thin.face[found.points]] == edge) & (shell[thin.contact_face[found.points]] == edge)
    return RunsOut(found.points[own], found.crease[own])


def _knife(
    mesh: Mesh, cells: Cells, creases: Creases, edges: NDArray[np.intp], points: Widths, limit_mm: float
) -> Knife:
    a, b = creases.ends(mesh, edges)
    distance, _ = nearest_segment(a, b, points.point, np.full(len(points), mesh.size + 1.0))
    # Where the width is near the limit already, its slope tells how far the rest of the way is.
    opening = np.arccos(np.clip(-points.opposed, -1.0, 1.0))
    telling = np.flatnonzero(points.width > _NEAR_LIMIT * limit_mm)
    if not len(telling):
        telling = np.array([points.width.argmax()])
    far = distance + (limit_mm - points.width) / np.maximum(2 * np.tan(opening / 2), 1e-3)
    far = np.where(np.isin(np.arange(len(far)), telling), far, -np.inf)
    ranked = telling[np.argsort(far[telling])]
    reach = float(far[ranked[min(len(ranked) - 1, int(_MOST * len(ranked)))]])
    # Of all that reach as far the one by the middle of the edge is shown: which samples there are says nothing.
    lengths = np.linalg.norm(b - a, axis=1)
    middle = (a + b).T @ lengths / (2 * max(float(lengths.sum()), 1e-300))
    alike = telling[np.abs(far[telling] - reach) <= _ALIKE * reach]
    shown = int(alike[((points.point[alike] - middle) ** 2).sum(axis=1).argmin()])
    inner = points.point[shown]
    edge = _closest(a, b, inner)
    ends = np.concatenate([a, b, points.point])
    return Knife(
        reach,
        float(180.0 - np.degrees(np.arccos(np.clip(creases.cosine[edges].min(), -1.0, 1.0)))),
        float(lengths.sum()),
        (edge, edge + (inner - edge) * (reach / max(float(distance[shown]), 1e-9))),
        tuple((point3(x), point3(y)) for x, y in zip(a, b, strict=True)),
        cells.faces(np.concatenate([points.face, points.contact_face])),
        (ends.min(axis=0), ends.max(axis=0)),
    )


def _closest(a: Floats, b: Floats, point: Floats) -> Floats:
    """Nearest point to `point` on (k, 3) segments."""
    along = b - a
    length2 = np.maximum((along**2).sum(axis=1), 1e-300)
    t = np.clip(((point - a) * along).sum(axis=1) / length2, 0.0, 1.0)
    on = a + t[:, None] * along
    nearest: Floats = on[((on - point) ** 2).sum(axis=1).argmin()]
    return nearest


def _chains(mesh: Mesh, creases: Creases, used: NDArray[np.intp]) -> tuple[NDArray[np.intp], int]:
    """Number the used creases by which hang together over vertices; -1 for the others."""
    h = creases.half_edge[used]
    ends = np.stack([mesh.faces[h // 3, h % 3], mesh.faces[h // 3, (h % 3 + 1) % 3]], axis=1)
    vertices, place = np.unique(ends, return_inverse=True)
    number = components(len(vertices), place[:, 0], place[:, 1])[place[:, 0]]
    chain = np.full(len(creases.half_edge), -1, np.intp)
    chain[used] = number
    return chain, int(number.max()) + 1
