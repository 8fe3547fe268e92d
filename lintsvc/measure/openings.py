"""Small openings in flat faces whatever their outline: square, three-cornered and long holes, through or blind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of, point3
from lintsvc.measure.patches import Patches, patches
from lintsvc.measure.rays import first_hits
from lintsvc.measure.topology_groups import components
from lintsvc.model.finding import Where

#: Faces within this turn, edge by edge, are one flat face.
_FLAT_DEG = 1.0
#: A flat face of less is no face with a hole in it.
_AREA_MM2 = 2.0
#: Openings up to so long are looked at, so many of them. A longer slot is found by its two sides.
_LONGEST_MM = 10.0
_MOST = 2000
#: The walls of a hole go down within so many degrees of square (cosine of the rest), along so much of its outline.
_SQUARE = np.cos(np.radians(55.0))
_WALLED = 0.8
#: What is not deeper than so many times its width is a mark, unless it goes through.
_DEEP = 1.1
#: The wall is measured beside the outline, so many widths from it.
_BESIDE = 0.1
#: A ray starts so much below the face that it would meet first, or above it, mm.
_START_MM = 1e-4
#: Two openings are the two ends of one hole when they are this near in line, in widths.
_IN_LINE = 0.25
#: Walls that go down within so many degrees of square to the face, together, say which way down is (cosine).
_ALONG = np.cos(np.radians(10.0))


@dataclass(frozen=True, eq=False)
class Opening:
    """A hole by its outline in a flat face.

    `diameter_mm`: of the largest circle in the outline. `length_mm`: its longest extent. `low`, `high`: the outline's
    centre of area at its bottom, or at the far face, and in its own face. `through`: it has no bottom. `faces`: the
    walls of it at the outline. `box`: of the outline and as far down as it goes. `span`: across the largest circle.
    """

    diameter_mm: float
    length_mm: float
    low: Floats
    high: Floats
    through: bool
    faces: Ints
    box: tuple[Floats, Floats]
    span: tuple[Floats, Floats]

    @property
    def depth_mm(self) -> float:
        """From its own face to its bottom, or through the wall."""
        return float(np.linalg.norm(self.high - self.low))

    @property
    def long(self) -> bool:
        """More than twice as long as wide: a slot, no hole."""
        return self.length_mm > 2.005 * self.diameter_mm

    def holds(self, point: tuple[float, float, float]) -> bool:
        """Whether a place lies in it."""
        near = 0.05 * self.diameter_mm
        return bool((np.array(point) > self.box[0] - near).all() and (np.array(point) < self.box[1] + near).all())

    def where(self) -> Where:
        """The place as a finding shows it."""
        span = (point3(self.span[0]), point3(self.span[1]))
        box = (point3(self.box[0]), point3(self.box[1]))
        middle = (self.span[0] + self.span[1] + self.low - self.high) / 2
        return Where(point=point3(middle), box=box, faces=tuple(self.faces.tolist()), span=span)


def find_openings(mesh: Mesh, widest_mm: float) -> list[Opening]:
    """Return the openings up to `widest_mm` wide that go through or are deeper than wide, the narrowest first."""
    if not len(mesh):
        return []
    flats = patches(mesh, _FLAT_DEG)
    found = [x for loop in _loops(mesh, flats) if (x := _opening(mesh, flats, loop, widest_mm)) is not None]
    found.sort(key=lambda x: x.diameter_mm)
    kept: list[Opening] = []
    for opening in found:
        # Of a hole that goes through, one end speaks.
        if not (opening.through and any(_same(x, opening) for x in kept)):
            kept.append(opening)
    return kept


def _same(one: Opening, other: Opening) -> bool:
    return one.through and bool(np.linalg.norm(one.low - other.high) < _IN_LINE * other.diameter_mm)


def _loops(mesh: Mesh, flats: Patches) -> list[NDArray[np.intp]]:
    """Half-edges of the closed outlines, short enough for an opening, at which a flat face ends in an outside corner;
    each in order round."""
    area = np.bincount(flats.label, weights=mesh.areas, minlength=flats.count)
    mate = mesh.mates
    edges = np.flatnonzero((mate >= 0) & (flats.turn < 0) & np.repeat(area[flats.label] >= _AREA_MM2, 3))
    edges = edges[flats.label[edges // 3] != flats.label[mate[edges] // 3]]
    face, corner = edges // 3, edges % 3
    start, end = mesh.faces[face, corner], mesh.faces[face, (corner + 1) % 3]
    short = np.linalg.norm(mesh.vertices[end] - mesh.vertices[start], axis=1) < _LONGEST_MM
    edges, start, end, face = edges[short], start[short], end[short], face[short]
    if not len(edges):
        return []
    # A vertex counts once for each flat face that it is on.
    place = flats.label[face].astype(np.int64) * (int(mesh.faces.max()) + 1)
    keys, number = np.unique(np.concatenate([place + start, place + end]), return_inverse=True)
    first, second = number[: len(edges)], number[len(edges) :]
    label = components(len(keys), first, second)
    out = np.bincount(first, minlength=len(keys))
    into = np.bincount(second, minlength=len(keys))
    closed = np.ones(int(label.max()) + 1, bool)
    closed[label[(out != 1) | (into != 1)]] = False
    chosen = np.flatnonzero(closed[label[first]])
    order = chosen[np.argsort(label[first[chosen]], kind="stable")]
    cuts = np.flatnonzero(np.diff(label[first[order]])) + 1
    groups = np.split(order, cuts) if len(order) else []
    following = np.empty(len(keys), np.intp)
    following[first] = np.arange(len(edges))
    loops = []
    for group in groups[:_MOST]:
        round_ = [int(group[0])]
        while len(round_) < len(group):
            round_.append(int(following[second[round_[-1]]]))
        loops.append(edges[np.array(round_)])
    return loops


def _opening(mesh: Mesh, flats: Patches, loop: NDArray[np.intp], widest_mm: float) -> Opening | None:
    """Measure the opening whose outline a loop of half-edges is; None for an outside outline, or for no hole."""
    from shapely import Polygon, get_coordinates, maximum_inscribed_circle, minimum_rotated_rectangle

    face = loop // 3
    normal = mesh.areas[face] @ mesh.normals[face]
    normal = normal / max(float(np.linalg.norm(normal)), 1e-300)
    corners = mesh.vertices[mesh.faces[face, loop % 3]]
    extents = np.ptp(corners, axis=0)
    if len(loop) < 3 or np.linalg.norm(extents) > 2 * _LONGEST_MM:
        return None
    origin = corners[0]
    following = np.roll(corners, -1, axis=0)
    # Around a hole the outline runs the other way round than about the face: its area counts as negative.
    if np.cross(corners - origin, following - origin).sum(axis=0) @ normal >= 0:
        return None
    length = np.linalg.norm(following - corners, axis=1)
    other = mesh.mates[loop] // 3
    walled = np.abs(mesh.normals[other] @ normal) < _SQUARE
    if length @ walled < _WALLED * length.sum():
        return None
    frame = frame_of(normal)
    polygon = Polygon((corners - origin) @ frame)
    if not polygon.is_valid or polygon.area <= 0:
        return None
    across = maximum_inscribed_circle(polygon, tolerance=1e-4 * float(np.sqrt(polygon.area)))
    if across.length * 2 > widest_mm:
        return None
    diameter = 2 * across.length
    box = get_coordinates(minimum_rotated_rectangle(polygon))
    longest = float(np.linalg.norm(np.diff(box[:3], axis=0), axis=1).max())
    if longest > _LONGEST_MM:
        return None
    flat = np.array(across.coords)
    middle, rim = (origin + flat @ frame.T).reshape(2, 3)
    down = _down(mesh.normals[other[walled]], length[walled], normal)
    depth, thickness = _depths(mesh, normal, down, middle, corners, following, diameter)
    through = depth > thickness * 1.02
    deep = thickness if through else depth
    if not np.isfinite(deep) or (not through and deep <= _DEEP * diameter):
        return None
    centre = polygon.centroid
    high = origin + frame @ np.array([centre.x, centre.y])
    ends = np.concatenate([corners, corners + deep * down])
    return Opening(
        diameter,
        longest,
        high + deep * down,
        high,
        bool(through),
        np.unique(other).astype(np.int32),
        (ends.min(axis=0), ends.max(axis=0)),
        (2 * middle - rim, rim),
    )


def _down(walls: Floats, length: Floats, normal: Floats) -> Floats:
    """The way along the walls, into the part: a facet of a curved face lies a little aslant to it."""
    _, ways = np.linalg.eigh((walls * length[:, None]).T @ walls)
    way = ways[:, 0]
    lean = float(way @ normal)
    return way * -np.sign(lean) if abs(lean) > _ALONG else -normal


def _depths(
    mesh: Mesh, normal: Floats, down: Floats, middle: Floats, corners: Floats, following: Floats, diameter: float
) -> tuple[float, float]:
    """How far down it is to the hole's bottom, infinite for none, and through the wall beside it."""
    along = (following - corners) / np.maximum(np.linalg.norm(following - corners, axis=1), 1e-300)[:, None]
    # The flat face lies to the left of its own half-edges.
    beside = (corners + following) / 2 + np.cross(normal, along) * _BESIDE * diameter
    # Over the middle it starts above the face, so that it meets the top of an island: round that runs a mark, no hole.
    points = np.concatenate([middle[None] + _START_MM * normal, beside - _START_MM * normal])
    distance, _ = first_hits(mesh.bvh, points, np.broadcast_to(down, points.shape).copy())
    return float(distance[0]) - _START_MM, float(np.median(distance[1:])) + _START_MM
