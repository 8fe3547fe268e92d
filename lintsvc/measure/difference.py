"""Where a new version of a part differs from the old: faces, or drawn entities, off the other's surface or lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_curves import Curves, curves_of
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.model.sheet import Entity

Numbers = NDArray[np.int64]

#: What differs by less is the same: below what either process holds. This project's own judgement.
TOLERANCE_MM = 0.05
#: A face is looked at in this many places at most, one for each small patch of it.
_MOST_SAMPLES = 64
#: A patch is this share of the part's size across.
_PATCH_SHARE = 1 / 80
#: Beyond this share of changed faces the part may only have been moved.
_MOSTLY = 0.5


@dataclass(frozen=True)
class Difference:
    """`changed`: numbers of faces or entities of the new part; `gone`: of the old one. `moved_mm` (x, y, z): by how
    much the old part was moved to lie on the new one, None where it lies there already."""

    changed: Numbers
    gone: Numbers
    #: The largest distance found, mm; not beyond the part's size.
    farthest_mm: float
    moved_mm: tuple[float, float, float] | None = None


def body_difference(old: Mesh, new: Mesh, tolerance_mm: float = TOLERANCE_MM) -> Difference:
    """Compare two bodies as they lie; where most of it differs, also with the middles of their boxes together."""
    found = _bodies(old, new, np.zeros(3), tolerance_mm)
    if len(found.changed) <= _MOSTLY * len(new.faces) or not len(old.faces):
        return found
    shift = (new.box[0] + new.box[1] - old.box[0] - old.box[1]) / 2
    if np.abs(shift).max() <= tolerance_mm:
        return found
    moved = _bodies(old, new, shift, tolerance_mm)
    return moved if len(moved.changed) < _MOSTLY * len(found.changed) else found


def _bodies(old: Mesh, new: Mesh, shift: Floats, tolerance_mm: float) -> Difference:
    changed, far = _off(new, old, -shift, tolerance_mm)
    gone, farther = _off(old, new, shift, tolerance_mm)
    x, y, z = shift.tolist()
    return Difference(changed, gone, max(far, farther), (x, y, z) if shift.any() else None)


def _off(one: Mesh, other: Mesh, shift: Floats, tolerance_mm: float) -> tuple[Numbers, float]:
    """Faces of `one`, moved by `shift`, that are off `other`; and the largest distance."""
    if not len(one.faces):
        return np.zeros(0, np.int64), 0.0
    points, owner = _samples(one)
    if not len(other.faces):
        return np.arange(len(one.faces), dtype=np.int64), one.size
    reach = np.full(len(points), max(one.size, other.size))
    distance = nearest(other.bvh, points + shift, reach).distance
    off = distance > tolerance_mm
    return np.unique(owner[off]).astype(np.int64), float(distance.max(initial=0.0))


def _samples(mesh: Mesh) -> tuple[Floats, Numbers]:
    """Points spread over all faces, as many as each has patches, and the face of each."""
    corners = mesh.vertices[mesh.faces].astype(np.float64)
    patch = (mesh.size * _PATCH_SHARE) ** 2
    wanted = np.clip(np.ceil(mesh.areas / max(patch, 1e-12)), 1, _MOST_SAMPLES).astype(np.int64)
    owner = np.repeat(np.arange(len(corners), dtype=np.int64), wanted)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(wanted) - wanted, wanted)
    # The R2 sequence (M. Roberts, 2018) folded into the triangle; it starts at the middle.
    u = (1 / 3 + place * 0.7548776662466927) % 1.0
    v = (1 / 3 + place * 0.5698402909980532) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    a, b, c = (corners[owner, k] for k in range(3))
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), owner


def flat_difference(old: Sequence[Entity], new: Sequence[Entity], tolerance_mm: float = TOLERANCE_MM) -> Difference:
    """Compare two drawings as they lie: entities of one kind of use that are off those of the other."""
    changed, far = _off_lines(new, old, tolerance_mm)
    gone, farther = _off_lines(old, new, tolerance_mm)
    return Difference(changed, gone, max(far, farther))


def _off_lines(one: Sequence[Entity], other: Sequence[Entity], tolerance_mm: float) -> tuple[Numbers, float]:
    import shapely

    found: list[int] = []
    farthest = 0.0
    for role in dict.fromkeys(x.role for x in one):
        curves = curves_of(x for x in one if x.role == role and x.shapes)
        against = curves_of(x for x in other if x.role == role and x.shapes)
        there = _lines(against)
        # Arcs are flattened on both sides.
        least = tolerance_mm + curves.chord_mm + against.chord_mm
        lines = shapely.segmentize(_lines(curves), 1.0)
        if not len(lines):
            continue
        if not len(there):
            found += curves.entity.tolist()
            continue
        tree = shapely.STRtree(there)
        points, which = shapely.get_coordinates(lines, return_index=True)
        distance = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)[1]
        farthest = max(farthest, float(distance.max(initial=0.0)))
        found += curves.entity[np.unique(which[distance > least])].tolist()
    return np.unique(np.asarray(found, np.int64)), farthest


def _lines(curves: Curves) -> NDArray[np.object_]:
    import shapely

    found = np.empty(len(curves), object)
    for number in range(len(curves)):
        found[number] = shapely.linestrings(curves.points_of(number))
    return found
