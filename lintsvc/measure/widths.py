"""How thick the walls are, and how wide the gaps, all over the surface."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE, Balls, balls
from lintsvc.measure.creases import Creases, spread_along
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.rays import first_hits
from lintsvc.measure.sampling import Samples, sample
from lintsvc.measure.smooth import correct
from lintsvc.measure.solids import Solids
from lintsvc.measure.weld import weld

#: Points stand about this far apart, mm: closer than the limits that they are held against.
SPACING_MM = 0.8
#: A ball that touches by more than 15 degrees aslant is looked at again, straight across, for the same width.
_ASLANT = -np.cos(np.radians(15.0))
_AS_WIDE = 0.02
#: The two ends of a ball are less than 75 degrees apart, seen from its middle: they are on one side.
_BESIDE = np.cos(np.radians(75.0))
#: About so many points, beside one a face, on the largest parts.
MOST_POINTS = 1_500_000
#: And on a part whose diagonal is longer than this, which goes into no usual machine, about so many: it is most often
#: one that was read in the wrong unit, and somebody waits to see that.
_HUGE_MM, _MOST_ON_HUGE = 1000.0, 250_000
#: A wall thinner by this share than its limit is thin; one of exactly the limit is not, however it was rounded.
TOLERANCE = 0.005
#: After the correction for coarse facets so much of their chord error may be left: a wall of the limit passes all the
#: same. Measured on rounded boxes of 12 to 96 facets to the circle: up to 0.16 at 16 facets and more.
_LEFT_OF_CHORD = 0.2
#: Points on creases stand closer: they are a line, and nothing else holds them together.
_ALONG_MM = 0.5
#: Creases are looked at from three directions between their faces' normals.
_BETWEEN = (0.2, 0.5, 0.8)
#: From so many points on creases on only one of those close together is measured, of those that look the same way.
_CROWDED = 20_000
_CLOSE_MM = SPACING_MM / 4
#: A chain of creases turns where the unit vectors along it add up to more: by 30 degrees.
_TURNS = 0.5


@dataclass(frozen=True, eq=False)
class Widths:
    """Widths at the points of the surface that have another surface within `cap_mm`.

    Arrays are (n, …), in order of `face`, the first of its cell. `normal`: the direction that was measured along; the
    face's, or one between two faces on a crease. `width`: corrected for coarse facets. `raw`: as the
    facets have it. `contact`, `contact_face`: where the ball touches the other side. `chord`: how far
    the facets at both ends may lie beside the curve that they stand for. `opposed`: cosine between
    the two sides (-1 parallel). `area`: the surface that a point stands for; 0 on a crease.
    """

    side: float
    cap_mm: float
    point: Floats
    normal: Floats
    face: Ints
    width: Floats
    raw: Floats
    contact: Floats
    contact_face: Ints
    chord: Floats
    opposed: Floats
    area: Floats

    def __len__(self) -> int:
        """How many points there are."""
        return len(self.face)

    def take(self, chosen: Any) -> Widths:
        """The points that `chosen` picks, in its order."""
        numbers = np.asarray(chosen)
        if numbers.dtype == np.bool_:
            numbers = np.flatnonzero(numbers)
        # Three times as fast as by brackets where a row holds three numbers.
        return replace(self, **{name: getattr(self, name).take(numbers, axis=0) for name in _ARRAYS})

    def replaced(self, numbers: NDArray[Any], others: Widths) -> Widths:
        """A copy in which the points `numbers` are `others`."""
        arrays = {}
        for name in _ARRAYS:
            arrays[name] = getattr(self, name).copy()
            arrays[name][numbers] = getattr(others, name)
        return replace(self, **arrays)

    def below(self, limit_mm: float, rounding_mm: float) -> Widths:
        """The points whose width is below the limit, with a tolerance."""
        return self.take(np.flatnonzero(self.is_below(limit_mm, rounding_mm)))

    def is_below(self, limit_mm: float, rounding_mm: float) -> NDArray[np.bool_]:
        """(n,) whether the width is below the limit, with a tolerance."""
        unsure = 4 * rounding_mm + _LEFT_OF_CHORD * self.chord
        below: NDArray[np.bool_] = self.width < limit_mm * (1 - TOLERANCE) - unsure
        return below

    def centres(self) -> Floats:
        """(n, 3) the middles of the balls."""
        return self.point + self.side * self.normal * (self.raw / 2)[:, None]


#: Fields that hold one value a point.
_ARRAYS = tuple(x.name for x in fields(Widths) if x.name not in ("side", "cap_mm"))


def usual_samples(mesh: Mesh) -> Samples:
    """The points to measure at."""
    # On a part as large as a room the points stand further apart.
    most = MOST_POINTS if mesh.size <= _HUGE_MM else _MOST_ON_HUGE
    return sample(mesh, max(SPACING_MM, float(np.sqrt(mesh.areas.sum() / most))))


def measure_widths(
    mesh: Mesh, samples: Samples, creases: Creases, solids: Solids, side: float, cap_mm: float
) -> Widths:
    """Measure wall thickness (`INSIDE`) or gap width (`OUTSIDE`) up to `cap_mm` at the samples and on the creases."""
    normal = mesh.normals[samples.face]
    flat, which = widths_at(mesh, solids, samples.points, samples.face, normal, side, cap_mm)
    flat = replace(flat, area=samples.area(which))
    ridges = _ridges(mesh, creases, solids, side, cap_mm)
    if ridges is None:
        return flat
    ridges = replace(ridges, face=samples.cells.of_face[ridges.face])
    both: dict[str, Any] = {x: np.concatenate([getattr(flat, x), getattr(ridges, x)]) for x in _ARRAYS}
    return replace(flat, **both).take(np.argsort(both["face"], kind="stable"))


def widths_at(
    mesh: Mesh,
    solids: Solids,
    point: Floats,
    face: Ints,
    normal: Floats,
    side: float,
    cap_mm: float,
    *,
    facets: bool = True,
) -> tuple[Widths, NDArray[np.intp]]:
    """Measure at (n, 3) points of faces (n,) along (n, 3) normals; points with nothing near are left out.

    `facets`: correct for coarse facets, which supposes that the normals are the faces'. Returns the
    widths, which stand for no area yet, and the numbers of the points that they are at.
    """
    # A wall has both sides on one solid: bodies that touch or overlap are no wall of each other.
    owners = (solids.of_face, solids.of_face[face]) if side == INSIDE and solids.count > 1 else None
    found = balls(mesh.bvh, point, normal, cap_mm, side, solids=owners)
    near = np.flatnonzero(found.face >= 0)
    point, face, normal = point[near], face[near], normal[near]
    found = Balls(found.width[near], found.contact[near], found.face[near])
    width, chord, opposed = found.width, np.zeros(len(near)), _opposed(point, normal, found, side)
    if facets:
        better = correct(mesh, point, face, found, side)
        width, chord = better.width, better.chord
        # A ball that touches beside the point where it rests has found no other side, whatever the normals say there.
        opposed = np.where(opposed > _BESIDE, opposed, np.minimum(opposed, better.opposed))
        _straight_across(mesh, point, face, normal, side, width, opposed)
    none = np.zeros(len(near))
    widths = Widths(
        side, cap_mm, point, normal, face, width, found.width, found.contact, found.face, chord, opposed, none
    )
    return widths, near


def _opposed(point: Floats, normal: Floats, found: Balls, side: float) -> Floats:
    """Cosine between the directions in which the ball touches at both ends."""
    radius = found.width / 2
    toward = found.contact - (point + side * normal * radius[:, None])
    cosine: Floats = -side * np.einsum("ij,ij->i", normal, toward) / np.where(radius > 0, radius, 1.0)
    return cosine


def _straight_across(
    mesh: Mesh, point: Floats, face: Ints, normal: Floats, side: float, width: Floats, opposed: Floats
) -> None:
    """Improve `opposed` where the ball touches aslant, by what lies straight across.

    In a rod or a round hole the ball touches all around at once, and the contact that was noted may be up to 60
    degrees off; straight across it is as wide. In a wedge it is wider straight across than the ball.
    """
    aslant = np.flatnonzero(opposed > _ASLANT)
    if not len(aslant):
        return
    ways = side * normal[aslant]
    # Not from the surface itself, which the ray would meet first.
    ahead = width[aslant] * 0.25
    distance, hit = first_hits(mesh.bvh, point[aslant] + ways * ahead[:, None], ways, 2 * width[aslant])
    near = np.flatnonzero(hit >= 0)
    aslant, ways, distance, hit = aslant[near], ways[near], (distance + ahead)[near], hit[near]
    across = Balls(distance, point[aslant] + ways * distance[:, None], hit)
    better = correct(mesh, point[aslant], face[aslant], across, side)
    as_wide = np.flatnonzero(np.abs(better.width - width[aslant]) < _AS_WIDE * width[aslant])
    opposed[aslant[as_wide]] = np.minimum(opposed[aslant[as_wide]], better.opposed[as_wide])


def _ridges(mesh: Mesh, creases: Creases, solids: Solids, side: float, cap_mm: float) -> Widths | None:
    """Widths from the creases that point into the material (or into the gap): the bottom of a V-shaped
    groove is a line that no point of a face lies on."""
    chosen = np.flatnonzero((creases.convex != (side == INSIDE)) & (creases.cosine > -0.9))
    if not len(chosen):
        return None
    a, b = creases.ends(mesh, chosen)
    places, segment = spread_along(a, b, _ALONG_MM)
    # All creases first, and then their points: there are many of these on a large part.
    half_edge = creases.half_edge[chosen]
    here, there = mesh.normals[half_edge // 3], mesh.normals[mesh.mates[half_edge] // 3]
    between = [here * (1 - k) + there * k for k in _BETWEEN]
    tips, tip_normal, tip_edge = _corners(mesh, creases, chosen)
    normal = np.concatenate(
        [*((x / np.linalg.norm(x, axis=1)[:, None]).take(segment, axis=0) for x in between), tip_normal]
    )
    point = np.concatenate([places] * len(_BETWEEN) + [tips])
    half_edge = half_edge[segment]
    edge = np.concatenate([half_edge] * len(_BETWEEN) + [tip_edge])
    if len(point) > _CROWDED:
        first, _ = weld(np.floor(point / _CLOSE_MM), octants(normal))
        point, normal, edge = point.take(first, axis=0), normal.take(first, axis=0), edge[first]
    one, other = (edge // 3).astype(np.int32), (mesh.mates[edge] // 3).astype(np.int32)
    found, which = widths_at(mesh, solids, point, one, normal, side, cap_mm, facets=False)
    # Of the two faces at a crease the one that looks away from the contact is the wall's.
    away = mesh.normals[found.contact_face]
    cosine = [np.einsum("ij,ij->i", mesh.normals[x[which]], away) for x in (one, other)]
    return replace(found, face=np.where(cosine[0] <= cosine[1], one[which], other[which]))


def octants(ways: Floats) -> Ints:
    """In which of the eight corners of space each of (n, 3) directions points."""
    # Column by column: several times faster than a product along the short side.
    x, y, z = (ways[:, k] > 0 for k in range(3))
    numbers: Ints = x + np.int32(2) * y + np.int32(4) * z
    return numbers


def _corners(mesh: Mesh, creases: Creases, chosen: NDArray[np.intp]) -> tuple[Floats, Floats, Ints]:
    """Vertices in which chains of creases end or turn: where they are, the middle direction of the faces
    there, and one of the creases."""
    half_edge = creases.half_edge[chosen]
    f, k = half_edge // 3, half_edge % 3
    ends = np.concatenate([mesh.faces[f, k], mesh.faces[f, (k + 1) % 3]])
    along = mesh.vertices[mesh.faces[f, (k + 1) % 3]] - mesh.vertices[mesh.faces[f, k]]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    both = mesh.normals[f] + mesh.normals[mesh.mates[half_edge] // 3]
    vertex, first, place, count = np.unique(ends, return_index=True, return_inverse=True, return_counts=True)
    # Of a chain that goes straight on, the ways out of a vertex cancel each other.
    out, middle = np.zeros((len(vertex), 3)), np.zeros((len(vertex), 3))
    np.add.at(out, place, np.concatenate([along, -along]))
    np.add.at(middle, place, np.concatenate([both, both]))
    length = np.linalg.norm(middle, axis=1)
    tip = np.flatnonzero(((count != 2) | (np.linalg.norm(out, axis=1) > _TURNS)) & (length > 1e-6))
    return mesh.vertices[vertex[tip]], middle[tip] / length[tip, None], half_edge[first[tip] % len(half_edge)]
