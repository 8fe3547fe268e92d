"""The two skins of a sheet: finds the thickness of a solid, and grows the upper skin face by face.

It begins with the largest plane and goes on over smooth edges, and over bare corners between panels,
as long as each face has a partner on the other side of the sheet.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from lintsvc.measure.solid_faces import SMOOTH_RAD, SolidEdge, SolidFace, SolidFaces, Vector, radial

#: Thinner or thicker is no sheet that is cut and bent (mm); common practice, no source.
THINNEST_MM, THICKEST_MM = 0.2, 26.0
#: A plate is at least so many times as broad as it is thick; a block is not.
_BREADTH = 5.0
#: Two faces lie a thickness apart when the distance agrees within this (mm).
SAME_MM = 0.01
#: The thickness is looked for in the largest planes, at so many points of each.
_PLANES, _SAMPLES = 24, 5


class NotASheet(Exception):
    """Why a solid is not taken as a sheet part, in words for the report."""


def in_mm(length: float) -> str:
    """A length for a reason: four digits at most, and no power of ten."""
    return f"{float(f'{length:.4g}'):.12g}"


@dataclass(frozen=True, eq=False)
class SharpBend:
    """A bend modelled without a radius, between two panels of the upper skin.

    `ends`: (2, 3) the ends of its inner edge; `turn`: angle bent through, radians; `upward`: the
    inner edge lies on the upper skin.
    """

    faces: tuple[int, int]
    ends: Vector
    turn: float
    upward: bool


@dataclass(eq=False)
class Skins:
    """A solid seen as a sheet. `upper` and `lower` are face numbers of the two skins.

    `partner[f]`: a face of the lower skin opposite to face f of the upper. `owner[g]`: the upper
    face whose panel or bend a lower or small face belongs to.
    """

    faces: SolidFaces
    thickness_mm: float
    upper: list[int]
    lower: list[int]
    partner: dict[int, int]
    owner: dict[int, int]
    sharp: list[SharpBend] = field(default_factory=list)
    #: Small faces that stand out beside a skin: they belong to the outline of the flat.
    edge_work: list[int] = field(default_factory=list)
    #: Cones of countersinks, floors of counterbores, and floors of other pockets: engraving, say.
    countersinks: list[int] = field(default_factory=list)
    counterbores: list[int] = field(default_factory=list)
    pockets: list[int] = field(default_factory=list)


def grow_skins(solid: Any) -> Skins:
    """Return the skins of a solid, the faces beside them not yet looked at. Raises NotASheet with the reason."""
    faces = SolidFaces(solid)
    rays = _Rays(faces)
    planes = sorted((f for f in faces.faces if f.kind == "plane"), key=lambda f: -f.rough_area)
    if not planes:
        raise NotASheet("it has no flat face")
    thickness, start = _thickness(faces, planes, rays)
    upper, partner, sharp = _grow(faces, start, thickness, rays)
    lower = sorted(set(partner.values()))
    if set(upper) & set(lower):
        raise NotASheet("its two sides run into each other: it is closed, or not of one thickness")
    skins = Skins(faces, thickness, upper, lower, partner, {b: a for a, b in partner.items()}, sharp)
    _complete_lower(skins)
    return skins


class _Rays:
    """Looks through the solid along a line."""

    def __init__(self, faces: SolidFaces) -> None:
        self._faces = faces
        self._lines = IntCurvesFace_ShapeIntersector()
        self._lines.Load(faces.shape, 1e-7)

    def through(self, point: Vector, normal: Vector) -> tuple[float, int] | None:
        """From a surface point straight into the solid: distance to the other side, and which face that is."""
        start = gp_Pnt(*(float(x) for x in point))
        direction = gp_Dir(*(float(-x) for x in normal))
        self._lines.Perform(gp_Lin(start, direction), 1e-4, 1e5)
        best: tuple[float, int] | None = None
        for i in range(1, int(self._lines.NbPnt()) + 1):
            far = float(self._lines.WParameter(i))
            if best is None or far < best[0]:
                best = far, self._faces.number_of(self._lines.Face(i))
        return best


def _thickness(faces: SolidFaces, planes: list[SolidFace], rays: _Rays) -> tuple[float, SolidFace]:
    """The distance through the solid that the most plane area has, and the largest plane that has it."""
    votes: dict[float, float] = defaultdict(float)
    seen: dict[float, tuple[float, SolidFace]] = {}
    left = sum(face.area for face in planes[:_PLANES]) * _SAMPLES
    for face in planes[:_PLANES]:
        first, second = (*sorted(votes.values(), reverse=True), 0.0, 0.0)[:2]
        if first > second + left:
            # No other can be ahead any more.
            break
        left -= face.area * _SAMPLES
        for point, normal in faces.samples(face.number, _SAMPLES):
            hit = rays.through(point, normal)
            if hit is None or hit[1] < 0:
                continue
            other = faces.faces[hit[1]]
            if other.kind == "plane" and float(other.normal @ normal) < -math.cos(SMOOTH_RAD):
                key = round(hit[0], 2)
                votes[key] += face.area
                if key not in seen:
                    seen[key] = hit[0], face
    if not votes:
        raise NotASheet("no two of its flat faces lie opposite each other")
    thickness, start = seen[max(votes, key=lambda k: (votes[k], -k))]
    if not THINNEST_MM <= thickness <= THICKEST_MM:
        raise NotASheet(
            f"its flat faces lie mostly {in_mm(thickness)} mm apart, and a sheet is {THINNEST_MM:g} to "
            f"{THICKEST_MM:g} mm thick"
        )
    if start.area < (_BREADTH * thickness) ** 2:
        raise NotASheet(f"its largest flat face is small against the {in_mm(thickness)} mm through it: it is a block")
    return thickness, start


def _partner(faces: SolidFaces, face: SolidFace, thickness: float, rays: _Rays) -> int | None:
    """The face a thickness below `face`, None where there is none."""
    for point, normal in faces.samples(face.number, 6):
        hit = rays.through(point, normal)
        if hit is None or hit[1] < 0 or abs(hit[0] - thickness) > SAME_MM:
            continue
        other = faces.faces[hit[1]]
        if other.kind != face.kind:
            continue
        if face.kind == "plane" and float(other.normal @ normal) < -math.cos(SMOOTH_RAD):
            return other.number
        if face.kind == "cylinder" and _coaxial(face, other, thickness):
            return other.number
    return None


def _coaxial(face: SolidFace, other: SolidFace, thickness: float) -> bool:
    apart = thickness if face.hollow else -thickness
    return (
        face.hollow != other.hollow
        and abs(other.radius - face.radius - apart) < SAME_MM
        and abs(abs(float(face.axis @ other.axis)) - 1) < 1e-5
        and float(np.linalg.norm(radial(other.axis_point, face.axis_point, face.axis))) < SAME_MM
    )


def _grow(
    faces: SolidFaces, start: SolidFace, thickness: float, rays: _Rays
) -> tuple[list[int], dict[int, int], list[SharpBend]]:
    """Return the upper skin, the partner of each of its faces, and the bends without a radius in it."""
    first = _partner(faces, start, thickness, rays)
    assert first is not None
    partner: dict[int, int] = {start.number: first}
    sharp: list[SharpBend] = []
    queue = [start.number]
    asked = {start.number}

    def ask(number: int) -> bool:
        """Take a face into the skin where it has a partner."""
        if number not in asked:
            asked.add(number)
            found = None
            if faces.faces[number].kind in ("plane", "cylinder"):
                found = _partner(faces, faces.faces[number], thickness, rays)
            if found is not None:
                partner[number] = found
                queue.append(number)
                return True
        return False

    while queue:
        number = queue.pop(0)
        for edge in faces.around[number]:
            other = _across(edge, number)
            if edge.smooth:
                ask(other)
                if other not in partner and _is_outside_of_sharp(faces.faces[other], thickness):
                    # A corner that is sharp inside and round outside: the panel beyond the rounding.
                    for further in faces.around[other]:
                        beyond = _across(further, other)
                        if further.smooth and beyond != number and ask(beyond):
                            sharp.append(_sharp_bend(faces, number, beyond, partner))
            elif (
                _is_panel(faces, number, other, thickness)
                and (ask(other) or other in partner)
                and not any({number, other} == set(known.faces) for known in sharp)
            ):
                sharp.append(_sharp_bend(faces, number, other, partner))
    return list(partner), partner, sharp


def _across(edge: SolidEdge, number: int) -> int:
    """The face on the other side of an edge."""
    return edge.faces[0] if edge.faces[1] == number else edge.faces[1]


def _is_outside_of_sharp(face: SolidFace, thickness: float) -> bool:
    return face.kind == "cylinder" and not face.hollow and abs(face.radius - thickness) < 2 * SAME_MM


def _is_panel(faces: SolidFaces, number: int, other: int, thickness: float) -> bool:
    """Two planes in a bare corner, the other one too far-reaching to be the sheet's own edge."""
    here, there = faces.faces[number], faces.faces[other]
    if here.kind != "plane" or there.kind != "plane":
        return False
    points = np.concatenate(faces.loops(other))
    return float(np.abs((points - here.point) @ here.normal).max()) > 1.5 * thickness


def _sharp_bend(faces: SolidFaces, number: int, other: int, partner: dict[int, int]) -> SharpBend:
    """The bend between two panels of the upper skin; its inner edge lies on one side or the other."""
    here, there = faces.faces[number], faces.faces[other]
    turn = math.acos(max(-1.0, min(1.0, float(here.normal @ there.normal))))
    for pair, upward in (((number, other), True), ((partner[number], partner[other]), False)):
        for edge in faces.around[pair[0]]:
            if _across(edge, pair[0]) != pair[1]:
                continue
            ends = faces.edge_points(edge.shape)[[0, -1]]
            base = faces.faces[pair[0]]
            rises = float((faces.faces[pair[1]].point - ends.mean(axis=0)) @ base.normal)
            if rises > 0:
                return SharpBend((number, other), ends, turn, upward)
    raise NotASheet(
        f"a bend of {math.degrees(turn):.0f} degrees is modelled without a radius, and its corner is not a clean edge"
    )


def _complete_lower(skins: Skins) -> None:
    """Faces of the lower skin that no sample of the upper one hit: pieces between cutouts."""
    faces, known = skins.faces, set(skins.lower)
    queue = list(skins.lower)
    while queue:
        number = queue.pop(0)
        for edge in faces.around[number]:
            other = edge.faces[0] if edge.faces[1] == number else edge.faces[1]
            if not edge.smooth or other in known or other in skins.partner:
                continue
            owner = _owner(skins, faces.faces[other])
            if owner is not None:
                known.add(other)
                skins.owner[other] = owner
                queue.append(other)
    skins.lower = sorted(known)


def _owner(skins: Skins, face: SolidFace) -> int | None:
    """The upper face that a face lies a thickness below."""
    for number in skins.upper:
        above = skins.faces.faces[number]
        if above.kind != face.kind:
            continue
        if face.kind == "plane":
            apart = float((above.point - face.point) @ above.normal)
            if float(above.normal @ face.normal) < -math.cos(SMOOTH_RAD) and abs(apart - skins.thickness_mm) < SAME_MM:
                return number
        elif face.kind == "cylinder" and _coaxial(above, face, skins.thickness_mm):
            return number
    return None
