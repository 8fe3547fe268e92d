"""Places where the body is thick: where a large ball fits inside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE, balls
from lintsvc.measure.compiled import compiled
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.nearest import nearest
from lintsvc.measure.sampling import spread_by_area
from lintsvc.model.finding import Where

#: Points to start from, at most, however large the part.
_STARTS = 6000
#: Steps of the way to the middle, as shares of the ball's radius.
_STEPS = (0.3, 0.2, 0.1, 0.05, 0.025, 0.0125, 0.006, 0.003, 0.0015, 0.0007)


@dataclass(frozen=True, eq=False)
class Bulk:
    """Material that hangs together in which balls larger than a limit fit: the largest one, and the box
    around all of them. `span`: a diameter of the ball, from the surface nearest to its middle."""

    diameter_mm: float
    centre: Floats
    span: tuple[Floats, Floats]
    box: tuple[Floats, Floats]
    faces: Ints

    def where(self) -> Where:
        """The place as a finding shows it."""
        box, span = (point3(self.box[0]), point3(self.box[1])), (point3(self.span[0]), point3(self.span[1]))
        return Where(point=point3(self.centre), box=box, faces=tuple(self.faces.tolist()), span=span)


def find_bulk(mesh: Mesh, limit_mm: float) -> list[Bulk]:
    """Return the places where a ball wider than `limit_mm` fits inside, the widest first."""
    if not len(mesh):
        return []
    spacing = max(limit_mm / 3, np.sqrt(mesh.areas.sum() / _STARTS))
    points, face = spread_by_area(mesh, spacing)
    normal = mesh.normals[face]
    # Every contact counts: a ball that only opposed walls held could stick out through a side.
    found = balls(mesh.bvh, points, normal, max(mesh.size, limit_mm), INSIDE, opposed=1.0)
    wide = np.flatnonzero((found.width > limit_mm) & (found.face >= 0))
    if not len(wide):
        return []
    radius = found.width[wide] / 2
    centre = points[wide] - normal[wide] * radius[:, None]
    face = face[wide]
    order = np.argsort(-radius, kind="stable")
    radius, centre, face = radius[order], centre[order], face[order]
    label, count = _overlapping(centre, radius)
    first = np.unique(label, return_index=True)[1]
    best, size = _to_the_middle(mesh, centre[first], radius[first])
    # Balls that have grown into each other belong together.
    label, count, best, size = _merged(label, best, size)
    result = []
    for i in range(count):
        members = label == i
        reach = radius[members][:, None]
        result.append(
            Bulk(
                float(2 * size[i]),
                best[i],
                _diameter(mesh, best[i], float(size[i])),
                ((centre[members] - reach).min(axis=0), (centre[members] + reach).max(axis=0)),
                np.unique(face[members]),
            )
        )
    return sorted(result, key=lambda x: -x.diameter_mm)


def _merged(label: NDArray[np.int32], best: Floats, size: Floats) -> tuple[NDArray[np.int32], int, Floats, Floats]:
    """Join labels whose largest balls overlap; keep the larger ball of each."""
    order = np.argsort(-size, kind="stable")
    joined, count = _overlapping(best[order], size[order])
    new = np.empty_like(joined)
    new[order] = joined
    first = order[np.unique(joined, return_index=True)[1]]
    return new[label], count, best[first], size[first]


def _diameter(mesh: Mesh, centre: Floats, radius: float) -> tuple[Floats, Floats]:
    near = nearest(mesh.bvh, centre[None], np.array([2 * radius])).place[0]
    return near, 2 * centre - near


def _to_the_middle(mesh: Mesh, centre: Floats, radius: Floats) -> tuple[Floats, Floats]:
    """Move each ball, as long as it can grow, toward where it can."""
    ways = np.array([(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)])
    ways = ways / np.linalg.norm(ways, axis=1)[:, None]
    for step in _STEPS:
        for _ in range(12):
            tried = centre[:, None] + step * radius[:, None, None] * ways
            within = np.repeat(radius * (1 + 2 * step), len(ways))
            free = nearest(mesh.bvh, tried.reshape(-1, 3), within).distance.reshape(len(centre), -1)
            best = free.argmax(axis=1)
            row = np.arange(len(centre))
            better = free[row, best] > radius * (1 + 1e-5)
            if not better.any():
                break
            centre = np.where(better[:, None], tried[row, best], centre)
            radius = np.where(better, free[row, best], radius)
    return centre, radius


def _overlapping(centre: Floats, radius: Floats) -> tuple[NDArray[np.int32], int]:
    """Label balls that overlap by half a radius or more, in order of the first ball."""
    label, count = _label(centre, radius)
    return label, int(count)


@compiled
def _label(centre: Any, radius: Any) -> Any:
    count = centre.shape[0]
    label = np.full(count, -1, np.int32)
    stack = np.empty(count, np.int32)
    found = 0
    for first in range(count):
        if label[first] >= 0:
            continue
        label[first] = found
        stack[0] = first
        height = 1
        while height > 0:
            height -= 1
            i = stack[height]
            for j in range(count):
                if label[j] >= 0:
                    continue
                d2 = 0.0
                for k in range(3):
                    d = centre[i, k] - centre[j, k]
                    d2 += d * d
                if d2 <= max(radius[i], radius[j]) ** 2:
                    label[j] = found
                    stack[height] = j
                    height += 1
        found += 1
    return label, found
