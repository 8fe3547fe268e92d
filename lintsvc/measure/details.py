"""Raised and sunk detail: steps that are low all along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.creases import CREASE_DEG, nearest_segment
from lintsvc.measure.edge_kinds import bluntly_round
from lintsvc.measure.edges import OPEN, shells
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.patches import Patches, patches
from lintsvc.measure.topology_groups import components
from lintsvc.model.finding import Where

#: A step lower than this is no detail but noise of the export.
_LEAST_MM = 0.02
#: So many strips are looked at, the longest: more is noise.
_MOST = 3000
#: A larger share of the surface than this is no mark on the part but half of it: the step is a shoulder.
_MARK = 0.25
#: A face narrower than this beside a step is no mark but a ledge that a chamfer or a cut left over.
_LEDGE_MM = 0.05
#: So many of the faces beside a strip may be those above and below it; these look the same way, within 25 degrees.
_BESIDE = 2
_ALONG = np.cos(np.radians(25.0))
#: Steps of one height on one face are one detail: the letters of a word.
_ALIKE = 0.05
#: Steps to both sides of a letter's stroke are of one height, to within this factor.
_SAME = 1.02


@dataclass(frozen=True, eq=False)
class Detail:
    """Steps of one height around raised or sunk areas of one face.

    `height_mm`: of the step. `raised`: the smaller areas stand above the face around them. `count`: how many
    areas. `length_mm`: of all steps together.
    """

    height_mm: float
    raised: bool
    count: int
    length_mm: float
    span: tuple[Floats, Floats]
    faces: Ints
    box: tuple[Floats, Floats]

    def where(self) -> Where:
        """The place as a finding shows it."""
        span = (point3(self.span[0]), point3(self.span[1]))
        return Where(
            point=span[0], box=(point3(self.box[0]), point3(self.box[1])), faces=tuple(self.faces.tolist()), span=span
        )


@dataclass(frozen=True, eq=False)
class _Step:
    """The wall of a step: a strip with an outside corner along its top and an inside corner along its foot."""

    patch: int
    top: int
    foot: int
    height: float
    length: float
    span: tuple[Floats, Floats]


def find_details(mesh: Mesh, limit_mm: float) -> list[Detail]:
    """Return the details lower than `limit_mm`, the lowest first."""
    if not len(mesh):
        return []
    smooth = _faces_of_the_design(mesh)
    area = np.bincount(smooth.label, weights=mesh.areas, minlength=smooth.count).astype(np.float64)
    most = _MARK * mesh.areas.sum()
    steps = [
        x for x in _steps(mesh, smooth, area, limit_mm) if _LEDGE_MM * x.length < min(area[x.top], area[x.foot]) < most
    ]
    # The smaller of the two faces that a step joins is the detail, the larger one what it is on.
    groups: dict[tuple[bool, int], list[_Step]] = {}
    sides = [(_smaller_above(x, area), x) for x in steps]
    for step in sorted(steps, key=lambda x: x.height):
        raised = _smaller_above(step, area)
        # The eye of a raised letter is no sunk detail, nor what stands in the middle of a sunk ring a raised one.
        shared = step.top if not raised else step.foot
        if any(
            x.height * _SAME > step.height and step.height * _SAME > x.height
            for up, x in sides
            if up != raised and shared == (x.top if up else x.foot)
        ):
            raised = not raised
        rung = round(np.log(step.height) / _ALIKE)
        # A step on the border between two rungs joins the one that is there already.
        rung = next((r for r in (rung, rung - 1) if (raised, r) in groups), rung)
        groups.setdefault((raised, rung), []).append(step)
    order, starts = smooth.groups()
    details = []
    for (raised, _), alike in groups.items():
        # Together: on one face, like letters, or around one island, like both sides of a ring.
        whole = components(smooth.count, [x.top for x in alike], [x.foot for x in alike])
        for number in np.unique(whole[[x.top for x in alike]]):
            members = [x for x in alike if whole[x.top] == number]
            islands = {x.top if raised else x.foot for x in members}
            shown = sorted(islands | {x.patch for x in members})
            faces = np.sort(np.concatenate([order[starts[p] : starts[p + 1]] for p in shown])).astype(np.int32)
            details.append(_detail(mesh, raised, islands, members, faces))
    return sorted(details, key=lambda x: x.height_mm)


def _smaller_above(step: _Step, area: Floats) -> bool:
    return bool(area[step.top] <= area[step.foot])


def _faces_of_the_design(mesh: Mesh) -> Patches:
    """Stretches without a crease; a round of two facets a quarter makes none, though each turns as much as one."""
    blunt = bluntly_round(mesh)
    if not blunt.any():
        return patches(mesh, CREASE_DEG)
    turn = np.where(blunt, np.float32(0.0), mesh.turns)
    label, count = shells(np.where(np.abs(turn) < CREASE_DEG, mesh.mates, OPEN).astype(np.int32))
    return Patches(label, count, turn)


def _detail(mesh: Mesh, raised: bool, islands: set[int], members: list[_Step], faces: Ints) -> Detail:
    corners = mesh.vertices[mesh.faces[faces].ravel()]
    return Detail(
        members[0].height,
        raised,
        len(islands),
        sum(x.length for x in members),
        members[0].span,
        faces,
        (corners.min(axis=0), corners.max(axis=0)),
    )


def _steps(mesh: Mesh, smooth: Patches, area: Floats, limit_mm: float) -> list[_Step]:
    """Find the strips between an outside corner and an inside corner that are low."""
    corner = np.flatnonzero(np.abs(smooth.turn) >= CREASE_DEG)
    if not len(corner):
        return []
    owner = smooth.label[corner // 3]
    length = _length(mesh, corner)
    hollow = smooth.turn[corner] > 0
    along_top = np.bincount(owner[~hollow], weights=length[~hollow], minlength=smooth.count)
    along_foot = np.bincount(owner[hollow], weights=length[hollow], minlength=smooth.count)
    shorter = np.minimum(along_top, along_foot)
    # A strip's height is about its area over its length; twice that leaves room for odd shapes.
    likely = np.flatnonzero((shorter > 0) & (area < 2 * limit_mm * shorter))
    likely = likely[np.argsort(-shorter[likely], kind="stable")][:_MOST]
    order = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[order], np.arange(smooth.count + 1))
    steps = []
    for p in likely.tolist():
        mine = corner[order[starts[p] : starts[p + 1]]]
        step = _step(mesh, smooth, p, mine[smooth.turn[mine] < 0], mine[smooth.turn[mine] > 0])
        if step is not None and _LEAST_MM < step.height < limit_mm:
            steps.append(step)
    return steps


def _step(mesh: Mesh, smooth: Patches, patch: int, top: NDArray[np.intp], foot: NDArray[np.intp]) -> _Step | None:
    """Measure one strip; None when no two faces beside it go along with each other at one height."""
    feet = _by_neighbour(smooth, patch, foot, mesh)
    for above, upper in _by_neighbour(smooth, patch, top, mesh):
        for below, lower in feet:
            found = _height(mesh, upper, lower)
            if found is not None:
                return _Step(patch, above, below, *found)
    return None


def _height(
    mesh: Mesh, top: NDArray[np.intp], foot: NDArray[np.intp]
) -> tuple[float, float, tuple[Floats, Floats]] | None:
    """Height and length of a strip between two lines of corners, and the ends of the height.

    None when it is not the same along most of the strip, or the faces above and below are not alike there.
    """
    a, b = _ends(mesh, foot)
    c, d = _ends(mesh, top)
    middle = (c + d) / 2
    _, edge = nearest_segment(a, b, middle, np.full(len(middle), mesh.size + 1.0))
    normal = mesh.normals[mesh.mates[top] // 3]
    alike = np.einsum("ij,ij->i", normal, mesh.normals[mesh.mates[foot[edge]] // 3]) > _ALONG
    weight = np.linalg.norm(d - c, axis=1)
    if weight @ alike < 0.5 * weight.sum():
        return None
    along = b[edge] - a[edge]
    t = np.einsum("ij,ij->i", middle - a[edge], along) / np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    below = a[edge] + np.clip(t, 0.0, 1.0)[:, None] * along
    # Square to the face above: the strip between may slope.
    height = np.abs(np.einsum("ij,ij->i", middle - below, normal))
    rank = np.argsort(height)
    share = np.cumsum(weight[rank]) / weight.sum()
    low, usual, high = (rank[np.searchsorted(share, x)] for x in (0.25, 0.5, 0.75))
    if height[high] > 1.3 * height[low]:
        return None
    return float(height[usual]), float(weight.sum()), (middle[usual], below[usual])


def _by_neighbour(
    smooth: Patches, patch: int, corner: NDArray[np.intp], mesh: Mesh
) -> list[tuple[int, NDArray[np.intp]]]:
    """A strip's corners of one kind by the face beside it, for those faces with which it shares the most length.

    The upright edges where the walls of a square letter meet are corners to other strips.
    """
    other = smooth.label[mesh.mates[corner] // 3]
    keep = other != patch
    corner, other = corner[keep], other[keep]
    number, where = np.unique(other, return_inverse=True)
    shared = np.bincount(where, weights=_length(mesh, corner), minlength=len(number))
    longest = np.argsort(-shared, kind="stable")[:_BESIDE]
    return [(int(number[i]), corner[where == i]) for i in longest]


def _ends(mesh: Mesh, half_edge: NDArray[np.intp]) -> tuple[Floats, Floats]:
    face, k = half_edge // 3, half_edge % 3
    return mesh.vertices[mesh.faces[face, k]], mesh.vertices[mesh.faces[face, (k + 1) % 3]]


def _length(mesh: Mesh, half_edge: NDArray[np.intp]) -> Floats:
    a, b = _ends(mesh, half_edge)
    length: Floats = np.linalg.norm(b - a, axis=1)
    return length
