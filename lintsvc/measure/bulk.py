"""Places where the body is thick: where a large ball fits inside it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE, balls
from lintsvc.measure.caps import capped
from lintsvc.measure.compiled import compiled
from lintsvc.measure.joining import numbered, unite
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.nearest import nearest
from lintsvc.measure.sampling import spread_by_area
from lintsvc.measure.solids import Solids
from lintsvc.measure.topology import Topology
from lintsvc.model.finding import Where

#: Points to start from, at most, however large the part.
_STARTS = 6000
#: Balls down to this share of the limit are started from, at most so many of those below it.
_ALMOST = 0.8
_MOST_ALMOST = 500
#: Steps of the way to the middle, as shares of the ball's radius.
_STEPS = (0.3, 0.2, 0.1, 0.05, 0.025, 0.0125, 0.006, 0.003, 0.0015, 0.0007, 0.0003, 0.0001, 0.00003)
#: So many places, the widest, look for a straight way to the nearest of those that are wider, in steps of at least
#: this share of the limit.
_MOST_WAYS = 40
#: So many places, the widest, are looked at for the middle of each: a part of a metre has thousands.
_MOST_GROWN = 200
_STEP_OF_A_WAY = 0.1


@dataclass(frozen=True, eq=False)
class Bulk:
    """Material that hangs together in which balls larger than a limit fit: the largest one, and the box
    around all of them. `span`: a diameter of the ball, from the surface nearest to its middle. `solid`: which one."""

    diameter_mm: float
    solid: int
    centre: Floats
    span: tuple[Floats, Floats]
    box: tuple[Floats, Floats]
    faces: Ints

    def where(self) -> Where:
        """The place as a finding shows it."""
        box, span = (point3(self.box[0]), point3(self.box[1])), (point3(self.span[0]), point3(self.span[1]))
        return Where(point=point3(self.centre), box=box, faces=tuple(self.faces.tolist()), span=span)


def find_bulk(mesh: Mesh, topology: Topology, solids: Solids, limit_mm: float) -> list[Bulk]:
    """Return the places where a ball wider than `limit_mm` fits inside, the widest first.

    A surface with small holes is measured as if they were closed; one that is open further encloses nothing.
    """
    if not len(mesh):
        return []
    own, encloses = np.arange(len(mesh), dtype=np.int32), np.ones(len(mesh), bool)
    if len(topology.open):
        closed = capped(mesh, topology)
        mesh, encloses = closed.mesh, closed.shut
        own = np.concatenate([own, closed.hangs_on])
    spacing = max(limit_mm / 3, np.sqrt(mesh.areas.sum() / _STARTS))
    points, face = spread_by_area(mesh, spacing)
    points, face = points[encloses[face]], face[encloses[face]]
    if not len(face):
        return []
    normal = mesh.normals[face]
    # Every contact counts: a ball that only opposed walls held could stick out through a side.
    found = balls(mesh.bvh, points, normal, max(mesh.size, limit_mm), INSIDE, opposed=1.0)
    # The middle of a place hardly wider than the limit lies between the points: balls grow on the way there.
    wide = np.flatnonzero((found.width > _ALMOST * limit_mm) & (found.face >= 0))
    wide = wide[np.argsort(-found.width[wide], kind="stable")]
    over = int((found.width[wide] > limit_mm).sum())
    wide = wide[: over + _MOST_ALMOST]
    if not len(wide):
        return []
    radius = found.width[wide] / 2
    centre = points[wide] - normal[wide] * radius[:, None]
    face = own[face[wide]]
    label = _overlapping(centre, radius)
    first = np.unique(label, return_index=True)[1]
    # Labels come in order of their first ball, and so the widest first.
    best, size = centre[first], radius[first]
    best[:_MOST_GROWN], size[:_MOST_GROWN] = _to_the_middle(mesh, best[:_MOST_GROWN], size[:_MOST_GROWN])
    # Balls that have grown into each other belong together.
    label, best, size = _merged(label, best, size)
    label, best, size = _hanging_together(mesh, label, best, size, limit_mm)
    some = np.flatnonzero(2 * size > limit_mm)
    near = nearest(mesh.bvh, best[some], 2 * size[some]).place
    # All places at once: a part of a metre has thousands.
    order = np.argsort(label, kind="stable")
    first = np.searchsorted(label[order], np.arange(len(best)))
    low = np.minimum.reduceat((centre - radius[:, None])[order], first, axis=0)
    high = np.maximum.reduceat((centre + radius[:, None])[order], first, axis=0)
    solid = solids.of_face[face[order[first]]]
    faces = _each_once(label, face, len(best))
    result = [
        Bulk(float(2 * size[i]), int(solid[i]), best[i], (place, 2 * best[i] - place), (low[i], high[i]), faces[i])
        for i, place in zip(some.tolist(), near, strict=True)
    ]
    return sorted(result, key=lambda x: -x.diameter_mm)


def _each_once(label: NDArray[np.int32], face: Ints, count: int) -> list[Ints]:
    """The faces under each label, each of them once, ascending."""
    order = np.lexsort((face, label))
    label, face = label[order], face[order]
    new = np.append(True, (label[1:] != label[:-1]) | (face[1:] != face[:-1]))
    label, face = label[new], face[new]
    bounds = np.searchsorted(label, np.arange(count + 1)).tolist()
    return [face[i:j] for i, j in pairwise(bounds)]


def _merged(label: NDArray[np.int32], best: Floats, size: Floats) -> tuple[NDArray[np.int32], Floats, Floats]:
    """Join labels whose largest balls overlap; keep the larger ball of each."""
    order = np.argsort(-size, kind="stable")
    joined = _overlapping(best[order], size[order])
    new = np.empty_like(joined)
    new[order] = joined
    first = order[np.unique(joined, return_index=True)[1]]
    return new[label], best[first], size[first]


def _hanging_together(
    mesh: Mesh, label: NDArray[np.int32], best: Floats, size: Floats, limit_mm: float
) -> tuple[NDArray[np.int32], Floats, Floats]:
    """Join places between which a ball of the limit can go straight: the two ends of a bar are one place."""
    some = np.flatnonzero(2 * size > limit_mm)
    some = some[np.argsort(-size[some], kind="stable")[:_MOST_WAYS]]
    number = np.arange(len(best), dtype=np.int32)
    for k, i in enumerate(some[1:].tolist(), 1):
        j = int(some[:k][np.argmin(np.linalg.norm(best[some[:k]] - best[i], axis=1))])
        if _open_way(mesh, best[i], best[j], (float(size[i]), float(size[j])), limit_mm):
            number[number == number[i]] = number[j]
    order = np.argsort(-size, kind="stable")
    kept, first = np.unique(number[order], return_index=True)
    return np.searchsorted(kept, number[label]).astype(np.int32), best[order[first]], size[order[first]]


def _open_way(mesh: Mesh, start: Floats, end: Floats, free_mm: tuple[float, float], limit_mm: float) -> bool:
    """Whether a ball of the limit goes straight from one place to another, around which so much is free."""
    radius, length = limit_mm / 2, float(np.linalg.norm(end - start))
    # The ball goes as far as the room around it is wider.
    at = free_mm[0] - radius
    while at < length - (free_mm[1] - radius):
        here = start + at / length * (end - start)
        free = float(nearest(mesh.bvh, here[None], np.array([length + radius])).distance[0])
        if free < radius:
            return False
        at += max(free - radius, _STEP_OF_A_WAY * limit_mm)
    return True


def _to_the_middle(mesh: Mesh, centre: Floats, radius: Floats) -> tuple[Floats, Floats]:
    """Move each ball, as long as it can grow, toward where it can."""
    ways = np.array([(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)])
    ways = ways / np.linalg.norm(ways, axis=1)[:, None]
    centre, radius = centre.copy(), radius.copy()
    for step in _STEPS:
        # One that could not grow by this step will not by another of the same length.
        row = np.arange(len(centre))
        for _ in range(12):
            tried = centre[row, None] + step * radius[row, None, None] * ways
            within = np.repeat(radius[row] * (1 + 2 * step), len(ways))
            least = np.repeat(radius[row] * (1 + 1e-5), len(ways))
            free = nearest(mesh.bvh, tried.reshape(-1, 3), within, least).distance.reshape(len(row), -1)
            best = free.argmax(axis=1)
            better = np.flatnonzero(free[np.arange(len(row)), best] > least[:: len(ways)])
            row = row[better]
            if not len(row):
                break
            centre[row] = tried[better, best[better]]
            radius[row] = free[better, best[better]]
    return centre, radius


def _overlapping(centre: Floats, radius: Floats) -> NDArray[np.int32]:
    """Label balls that overlap by half a radius or more, in order of the first ball."""
    label: NDArray[np.int32] = _label(centre, radius)
    return label


@compiled
def _label(centre: Any, radius: Any) -> Any:
    count = centre.shape[0]
    parent = np.arange(count).astype(np.int32)
    for i in range(count):
        x = centre[i, 0]
        y = centre[i, 1]
        z = centre[i, 2]
        r = radius[i]
        for j in range(i + 1, count):
            dx = x - centre[j, 0]
            dy = y - centre[j, 1]
            dz = z - centre[j, 2]
            if dx * dx + dy * dy + dz * dz <= max(r, radius[j]) ** 2:
                unite(parent, i, j)
    return numbered(parent)[0]
