"""Filling plain holes: flat ones, with a rim that does not cross itself, small beside their surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.caps import LARGEST_SHARE
from lintsvc.measure.mend_draft import Draft
from lintsvc.measure.mesh import Floats, Ints
from lintsvc.measure.shells import Shells

#: A rim may leave its plane by this share of its size.
_FLATNESS = 0.002


@dataclass(frozen=True)
class Filled:
    """What filling did. `left`: why holes were left open, one sentence each."""

    holes: int
    area_mm2: float
    left: tuple[str, ...]


def fill_holes(draft: Draft) -> tuple[Draft, Filled]:
    """Close the plain holes of a draft whose faces are turned one way. No vertex is added or moved."""
    topology = draft.topology
    half = topology.open
    if not len(half):
        return draft, Filled(0, 0.0, ())
    ends = topology.ends(half)
    shells = Shells(draft.mesh, topology)
    shell_of = dict(zip(ends[:, 0].tolist(), shells.label[half // 3].tolist(), strict=True))
    rings, left = _rings(ends)
    planes: list[_Ring] = []
    for ring in rings:
        found = _Ring.of(draft, ring)
        if found is None:
            left.append("A hole is not flat, or its rim crosses itself; it stays open.")
        else:
            planes.append(found)
    new: list[Ints] = []
    owners: list[Ints] = []
    filled, area = 0, 0.0
    for group in _by_plane(planes, draft.reach):
        faces, size, why = _fill(group, draft)
        shell = shell_of[group[0].vertices[0]]
        whole = float(shells.area[shell]) + size
        if not why and size > LARGEST_SHARE * whole:
            why = (
                f"A hole is {100.0 * size / whole:.0f} % of its surface: it may be a surface without thickness, and is "
                "not closed."
            )
        if why:
            left.append(why)
            continue
        new.append(faces)
        owners.append(np.full(len(faces), draft.vertex_objects[faces[0, 0]], np.int32))
        filled += len(group)
        area += size
    if new:
        draft = draft.with_faces(np.concatenate(new), np.concatenate(owners))
    return draft, Filled(filled, area, tuple(left))


@dataclass(frozen=True, eq=False)
class _Ring:
    """A rim in its plane. `vertices` run so that a face filling it runs the same way; `normal` is that face's."""

    vertices: list[int]
    points: Floats
    normal: Floats
    middle: Floats

    @classmethod
    def of(cls, draft: Draft, ring: list[int]) -> _Ring | None:
        points = draft.vertices[ring]
        middle = points.mean(axis=0)
        # Newell: twice the area vector of the polygon.
        normal = np.cross(points - middle, np.roll(points, -1, axis=0) - middle).sum(axis=0)
        size = float(np.linalg.norm(points - middle, axis=1).max())
        length = float(np.linalg.norm(normal))
        if length <= draft.reach * size:
            return None
        normal = normal / length
        off = float(np.abs((points - middle) @ normal).max())
        if off > max(2.0 * draft.reach, _FLATNESS * size):
            return None
        return cls(ring, points, normal, middle)


def _rings(ends: Ints) -> tuple[list[list[int]], list[str]]:
    """Cut open edges (k, 2), each as its face runs along it, into simple rings, turned as a face filling them is."""
    following: dict[int, list[int]] = {}
    balance: dict[int, int] = {}
    for a, b in ends.tolist():
        following.setdefault(b, []).append(a)
        balance[a] = balance.get(a, 0) + 1
        balance[b] = balance.get(b, 0) - 1
    if any(balance.values()):
        return [], ["The open edges form no closed rims; they stay open."]
    rings: list[list[int]] = []
    for start in sorted(following):
        while following[start]:
            path, at = [start], {start: 0}
            # Each time the walk meets itself a ring is cut off, so rims that touch in a corner come apart.
            while following[path[-1]]:
                after = following[path[-1]].pop()
                if after in at:
                    ring = path[at[after] :]
                    rings.append(ring)
                    for v in ring[1:]:
                        del at[v]
                    path = path[: at[after] + 1]
                else:
                    at[after] = len(path)
                    path.append(after)
    return rings, []


def _by_plane(rings: list[_Ring], reach: float) -> list[list[_Ring]]:
    """Put rings together that lie in one plane with one inside another: they bound one hole."""
    groups: list[list[_Ring]] = []
    for ring in sorted(rings, key=lambda x: -float(np.ptp(x.points, axis=0).max())):
        for group in groups:
            first = group[0]
            size = float(np.linalg.norm(first.points - first.middle, axis=1).max())
            same = abs(float(ring.normal @ first.normal)) > 1.0 - 1e-6
            level = abs(float((ring.middle - first.middle) @ first.normal)) <= max(2.0 * reach, _FLATNESS * size)
            if same and level and _contains(first, ring):
                group.append(ring)
                break
        else:
            groups.append([ring])
    return groups


def _flat(ring: _Ring, others: list[_Ring]) -> list[Floats]:
    """Coordinates of rings in the plane of the first, which runs counter-clockwise there."""
    normal = ring.normal
    u = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    u /= np.linalg.norm(u)
    frame = np.stack([u, np.cross(normal, u)], axis=1)
    return [(x.points - ring.middle) @ frame for x in (ring, *others)]


def _contains(outer: _Ring, inner: _Ring) -> bool:
    """True where the inner ring lies within the outer one."""
    from shapely.geometry import Polygon

    one, other = _flat(outer, [inner])
    return bool(Polygon(one).buffer(0).contains(Polygon(other).buffer(0)))


def _fill(group: list[_Ring], draft: Draft) -> tuple[Ints, float, str]:
    """Triangulate a hole, its islands left out. Returns faces, area and, where it is not plain, why."""
    from manifold3d import triangulate
    from shapely.geometry import Polygon

    first, islands = group[0], group[1:]
    flat = _flat(first, islands)
    shapes = [Polygon(x) for x in flat]
    nothing = np.empty((0, 3), np.int32)
    if not all(x.is_valid for x in shapes):
        return nothing, 0.0, "A hole's rim crosses itself; it stays open."
    if any(float(x.normal @ first.normal) > 0 for x in islands):
        return nothing, 0.0, "Holes lie within each other and face the same way; they stay open."
    if any(a.intersects(b) for i, a in enumerate(shapes[1:]) for b in shapes[i + 2 :]):
        return nothing, 0.0, "Several rims within one hole meet; it stays open."
    area = shapes[0].area - sum(x.area for x in shapes[1:])
    numbers = np.array([v for x in group for v in x.vertices], np.int32)
    corners = np.asarray(triangulate(flat, epsilon=draft.reach))
    return numbers[corners].reshape(-1, 3), float(area), ""
