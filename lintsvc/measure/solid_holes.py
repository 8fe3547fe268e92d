"""Round holes of an exact solid: true diameter, axis and depth; counterbores, countersinks, blind ends.

A hole is a stack of hollow cylinders and cones about one axis, each going all the way round.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_Cone, GeomAbs_Cylinder
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_IN

from lintsvc.measure.solid_faces import SolidFace, SolidFaces, Vector, mesh_points, radial

#: Places and radii that agree within this are the same (mm).
_SAME_MM = 0.005
#: Whether there is material behind an end is asked so far beyond it (mm).
_BESIDE_MM = 0.01
#: Faces must go round by this much together to be a hole (degrees).
_ROUND_DEG = 359.0

Point3 = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Counterbore:
    """A wider, flat-bottomed mouth."""

    diameter_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class Countersink:
    """A mouth that widens as a cone; `angle_deg` is the full angle."""

    diameter_mm: float
    angle_deg: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class SolidHole:
    """A round hole.

    `mouth`: middle of its opening; of a through hole, the opening that is worked (counterbored or
    countersunk), else the first along the axis. `direction`: unit vector from the mouth inwards.
    `depth_mm`: of the narrowest cylinder together with everything above it. `end`: how it ends.
    `faces`: numbers of the solid's own faces.
    """

    diameter_mm: float
    mouth: Point3
    direction: Point3
    depth_mm: float
    end: Literal["through", "flat", "cone"]
    counterbores: tuple[Counterbore, ...]
    countersinks: tuple[Countersink, ...]
    faces: tuple[int, ...]


@dataclass(frozen=True)
class _Ring:
    """A piece of a hole: from `low` to `high` along the axis, with the radius at each end."""

    low: float
    high: float
    radius_low: float
    radius_high: float
    faces: tuple[int, ...]

    @property
    def conical(self) -> bool:
        return abs(self.radius_low - self.radius_high) > _SAME_MM

    def turned(self) -> _Ring:
        return _Ring(-self.high, -self.low, self.radius_high, self.radius_low, self.faces)


def holes_of(solid: Any) -> tuple[SolidHole, ...]:
    """Return the round holes of a solid, the widest first."""
    found = [hole for each in _all_stacks(solid) if (hole := _hole(*each)) is not None]
    return tuple(sorted(found, key=lambda hole: (-hole.diameter_mm, hole.mouth)))


@dataclass(frozen=True, eq=False)
class StraightHole:
    """One straight, round stretch of a hole: the ends of its axis, and behind which of them the hole has a bottom.

    `faces`: numbers of the solid's own faces.
    """

    diameter_mm: float
    low: Vector
    high: Vector
    closed: tuple[bool, bool]
    faces: tuple[int, ...]


def straight_holes(solid: Any) -> list[StraightHole]:
    """Return every straight stretch of the round holes of a solid; a counterbore is one of its own."""
    found = []
    for stack, origin, axis, inside in _all_stacks(solid):
        tips = (stack[0].radius_low < _SAME_MM, stack[-1].radius_high < _SAME_MM)
        closed = (
            tips[0] or _filled(origin, axis, stack[0].low - _BESIDE_MM, inside),
            tips[1] or _filled(origin, axis, stack[-1].high + _BESIDE_MM, inside),
        )
        if closed == (True, True):
            continue
        for ring in stack:
            if not ring.conical:
                low, high = origin + axis * ring.low, origin + axis * ring.high
                found.append(StraightHole(2 * ring.radius_low, low, high, closed, ring.faces))
    return found


def _all_stacks(solid: Any) -> Iterator[tuple[list[_Ring], Vector, Vector, Any]]:
    """Yield the pieces of every hole, with a point of its axis, its direction, and what tells inside from outside."""
    faces = SolidFaces(solid, merged=False)
    inside = BRepClass3d_SolidClassifier(faces.shape)
    for origin, axis, members in _by_axis(faces.faces):
        for stack in _stacks(_rings(members, origin, axis)):
            yield stack, origin, axis, inside


def _filled(origin: Vector, axis: Vector, z: float, inside: Any) -> bool:
    at = origin + axis * z
    inside.Perform(gp_Pnt(*(float(x) for x in at)), 1e-7)
    return bool(inside.State() == TopAbs_IN)


def _by_axis(faces: Iterable[SolidFace]) -> list[tuple[Vector, Vector, list[SolidFace]]]:
    """Put hollow cylinders and cones together that share an axis."""
    groups: list[tuple[Vector, Vector, list[SolidFace]]] = []
    buckets: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for face in faces:
        if face.kind not in ("cylinder", "cone") or not face.hollow:
            continue
        axis = face.axis if face.axis[int(np.argmax(np.abs(face.axis)))] > 0 else -face.axis
        origin = face.axis_point - axis * float(face.axis_point @ axis)
        # Neighbouring cells are asked too: an axis may lie on the border of one.
        cell = np.floor(origin).astype(int)
        near = [tuple((cell + np.array(d)).tolist()) for d in np.ndindex(3, 3, 3)]
        for i in (i for key in near for i in buckets[tuple(x - 1 for x in key)]):
            where, along, members = groups[i]
            if float(along @ axis) > 1 - 1e-8 and float(np.linalg.norm(radial(origin, where, along))) < _SAME_MM:
                members.append(face)
                break
        else:
            buckets[tuple(cell.tolist())].append(len(groups))
            groups.append((origin, axis, [face]))
    return groups


def _rings(members: list[SolidFace], origin: Vector, axis: Vector) -> list[_Ring]:
    """Faces that go all the way round together, as pieces along the axis."""
    parts: dict[tuple[float, float, float, float], list[tuple[SolidFace, float]]] = defaultdict(list)
    for face in members:
        surface = BRepAdaptor_Surface(face.shape)
        low, high = _extent(face, origin, axis)
        if face.kind == "cone":
            ends = sorted(_cone_radius(face, origin, axis, z) for z in (low, high))
            grows = _cone_radius(face, origin, axis, high) > _cone_radius(face, origin, axis, low)
            radii = (ends[0], ends[1]) if grows else (ends[1], ends[0])
        else:
            radii = (face.radius, face.radius)
        if surface.GetType() in (GeomAbs_Cylinder, GeomAbs_Cone):
            from_u, to_u, _, _ = BRepTools.UVBounds_s(face.shape)
            sweep = math.degrees(to_u - from_u)
        else:
            # A free-form face that is a cylinder or cone in truth: from its area.
            mean = max((radii[0] + radii[1]) / 2, 1e-9)
            slant = math.hypot(high - low, radii[1] - radii[0])
            sweep = math.degrees(face.area / (mean * max(slant, 1e-9)))
        key = (round(low, 2), round(high, 2), round(radii[0], 3), round(radii[1], 3))
        parts[key].append((face, sweep))
    rings = []
    for (low, high, first, last), faces in parts.items():
        if sum(sweep for _, sweep in faces) >= _ROUND_DEG:
            rings.append(_Ring(low, high, first, last, tuple(face.number for face, _ in faces)))
    return sorted(rings, key=lambda ring: (ring.low, ring.high))


def _extent(face: SolidFace, origin: Vector, axis: Vector) -> tuple[float, float]:
    """Where a face begins and ends along the axis."""
    along = (mesh_points(face) - origin) @ axis
    return float(along.min()), float(along.max())


def _cone_radius(face: SolidFace, origin: Vector, axis: Vector, z: float) -> float:
    """Radius of a cone at a place along the axis."""
    surface = BRepAdaptor_Surface(face.shape)
    if surface.GetType() == GeomAbs_Cone:
        apex = surface.Cone().Apex()
        tip = float((np.array([apex.X(), apex.Y(), apex.Z()]) - origin) @ axis)
        return abs(z - tip) * math.tan(face.half_angle)
    along = float((face.axis_point - origin) @ axis)
    slope = math.tan(face.half_angle)
    grows = float(face.normal @ axis) < 0
    return max(0.0, face.radius + (z - along) * (slope if grows else -slope))


def _stacks(rings: list[_Ring]) -> list[list[_Ring]]:
    """Pieces that follow each other without a gap."""
    stacks: list[list[_Ring]] = []
    for ring in rings:
        if stacks and abs(ring.low - stacks[-1][-1].high) < 4 * _SAME_MM:
            stacks[-1].append(ring)
        else:
            stacks.append([ring])
    return stacks


def _hole(stack: list[_Ring], origin: Vector, axis: Vector, inside: Any) -> SolidHole | None:
    closed_low = _filled(origin, axis, stack[0].low - _BESIDE_MM, inside)
    closed_high = _filled(origin, axis, stack[-1].high + _BESIDE_MM, inside)
    if closed_low and closed_high:
        # A void inside the solid is no hole.
        return None
    # Look from the open, worked end inwards.
    if closed_low or (not closed_high and _worked(stack[-1], stack) and not _worked(stack[0], stack)):
        stack, axis, closed_high = [ring.turned() for ring in reversed(stack)], -axis, closed_low
    straight = [ring for ring in stack if not ring.conical]
    tip = stack[-1] if stack[-1].conical and stack[-1].radius_high < _SAME_MM else None
    if straight:
        narrow = min(straight, key=lambda ring: ring.radius_low)
        radius = narrow.radius_low
    else:
        narrow = stack[0]
        radius = min(min(ring.radius_low, ring.radius_high) for ring in stack)
        if radius < _SAME_MM:
            return None
    bores, sinks = [], []
    for ring in stack:
        if ring is tip:
            continue
        if ring.conical:
            wide = max(ring.radius_low, ring.radius_high)
            angle = 2 * math.degrees(math.atan2(abs(ring.radius_high - ring.radius_low), ring.high - ring.low))
            sinks.append(Countersink(round(2 * wide, 4), round(angle, 3), round(ring.high - ring.low, 4)))
        elif ring.radius_low > radius + _SAME_MM:
            bores.append(Counterbore(round(2 * ring.radius_low, 4), round(ring.high - ring.low, 4)))
    mouth = origin + axis * stack[0].low
    end: Literal["through", "flat", "cone"] = "cone" if tip else "flat" if closed_high else "through"
    deep = (stack[-1].low if tip else stack[-1].high) - stack[0].low
    # Adding zero turns -0.0 into 0.0.
    x, y, z = (round(float(v), 6) + 0.0 for v in mouth)
    dx, dy, dz = (round(float(v), 9) + 0.0 for v in axis)
    numbers = tuple(sorted(n for ring in stack for n in ring.faces))
    return SolidHole(
        round(2 * radius, 4), (x, y, z), (dx, dy, dz), round(deep, 4), end, tuple(bores), tuple(sinks), numbers
    )


def _worked(ring: _Ring, stack: list[_Ring]) -> bool:
    """True for an end that is wider than the rest: counterbored or countersunk."""
    least = min(min(r.radius_low, r.radius_high) for r in stack)
    return max(ring.radius_low, ring.radius_high) > least + _SAME_MM
