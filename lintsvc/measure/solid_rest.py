"""Is a solid a sheet of one thickness? Looks at every face beside the skins, and says why it is none.

Such a face must be a wall from skin to skin, or small work on edges and holes: broken edges,
chamfers, countersinks, counterbores. The volume has the last word.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from lintsvc.measure.solid_faces import SMOOTH_RAD, SolidFace, SolidFaces, Vector
from lintsvc.measure.solid_skins import SAME_MM, NotASheet, Skins, grow_skins, in_mm

#: Volume against skins times thickness: agreement of a sheet.
_SAME_VOLUME = 2e-3
#: Points around a whole cone lie nearer than this to each other.
_GAP_RAD = math.radians(80)
#: Share of the skin that may be milled to a lesser depth.
_MILLED = 0.02


def skins_of(solid: Any) -> Skins:
    """Return the skins of a solid that is a sheet. Raises NotASheet with the reason."""
    skins = grow_skins(solid)
    _rest(skins)
    return skins


def depth_below(skins: Skins, owner: int, points: Vector) -> Vector:
    """Depth of points below the upper skin, in the panel or bend of one of its faces (mm)."""
    face = skins.faces.faces[owner]
    if face.kind == "plane":
        return np.asarray((face.point - points) @ face.normal)
    away = points - face.axis_point
    across = np.linalg.norm(away - np.outer(away @ face.axis, face.axis), axis=1)
    return np.asarray(across - face.radius if face.hollow else face.radius - across)


def _rest(skins: Skins) -> None:
    """Look at every face that is on neither skin, then at the volume."""
    faces, t = skins.faces, skins.thickness_mm
    upper, lower = set(skins.upper), set(skins.lower)
    side = {**dict.fromkeys(upper, "upper"), **dict.fromkeys(lower, "lower")}
    rest = [f.number for f in faces.faces if f.number not in side]
    _own(skins, rest, side)
    milled = 0.0
    for number in rest:
        face = faces.faces[number]
        touched = {side[i]: e for e in faces.around[number] for i in e.faces if i in side}
        if number not in skins.owner:
            raise NotASheet("a part of it hangs together with the sheet by no face of it")
        wall = len(touched) == 2 and not any(e.smooth for e in touched.values())
        if not wall:
            out = _stands_out(skins, number)
            if out > 5 * SAME_MM:
                raise NotASheet(f"a face of it stands {in_mm(out)} mm out of the sheet of {in_mm(t)} mm")
            if face.kind == "plane" and _floor(skins, face):
                if _around_a_hole(faces, number):
                    skins.counterbores.append(number)
                else:
                    skins.pockets.append(number)
                    milled += face.area
            if touched:
                skins.edge_work.append(number)
        if face.kind == "cone" and face.hollow and touched and _goes_round(faces, face):
            skins.countersinks.append(number)
    total = sum(faces.faces[i].area for i in skins.upper)
    if milled > _MILLED * total:
        raise NotASheet(f"it is not of one thickness: {milled:.3g} mm² of it are milled to a lesser one")
    _check_volume(skins)


def _own(skins: Skins, rest: list[int], side: dict[int, str]) -> None:
    """Give each face beside the skins the panel or bend of its nearest neighbour on a skin."""
    queue = [*skins.upper, *skins.lower]
    left = set(rest)
    while queue:
        number = queue.pop(0)
        home = skins.owner.get(number, number)
        for edge in skins.faces.around[number]:
            for other in edge.faces:
                if other in left:
                    left.discard(other)
                    skins.owner[other] = home
                    queue.append(other)


def _stands_out(skins: Skins, number: int) -> float:
    """How far a face stands out of the panels and bends that its neighbours belong to (mm)."""
    points = np.concatenate(skins.faces.loops(number))
    near = {skins.owner.get(i, i) for e in skins.faces.around[number] for i in e.faces if i in skins.owner}
    out = np.full(len(points), np.inf)
    for home in near | {skins.owner[number]}:
        depth = depth_below(skins, home, points)
        out = np.minimum(out, np.maximum(-depth, depth - skins.thickness_mm))
    return float(out.max())


def _floor(skins: Skins, face: SolidFace) -> bool:
    """A face that lies parallel to the sheet, between its skins."""
    above = skins.faces.faces[skins.owner[face.number]]
    return above.kind == "plane" and abs(float(above.normal @ face.normal)) > math.cos(SMOOTH_RAD)


def _goes_round(faces: SolidFaces, face: SolidFace) -> bool:
    """True for a cone all around its axis; broken edges of bends and of rounded corners are pieces of cones too."""
    points = np.concatenate(faces.loops(face.number)) - face.axis_point
    right = np.cross(face.axis, np.eye(3)[int(np.abs(face.axis).argmin())])
    turn = np.sort(np.arctan2(points @ np.cross(face.axis, right), points @ right))
    return float(np.diff(turn, append=turn[0] + 2 * math.pi).max()) < _GAP_RAD


def _around_a_hole(faces: SolidFaces, number: int) -> bool:
    """A ring between two circles about one middle: the floor of a counterbore."""
    circles = faces.circles(number)
    return (
        len(faces.loops(number)) == 2
        and len(circles) == 2
        and all(x.full for x in circles)
        and float(np.linalg.norm(circles[0].centre - circles[1].centre)) < SAME_MM
    )


def _check_volume(skins: Skins) -> None:
    faces, t = skins.faces, skins.thickness_mm
    area = (sum(faces.faces[i].area for i in skins.upper) + sum(faces.faces[i].area for i in skins.lower)) / 2
    full = t * area
    # Work on an edge takes its area from one skin and at most so much from the volume.
    worked = t * sum(faces.faces[i].area for i in skins.edge_work)
    volume = faces.volume_mm3
    room = _SAME_VOLUME * volume
    if not full - worked - room <= volume <= full + worked + room:
        raise NotASheet(
            f"it is not of one thickness: its two sides at {t:.3g} mm make {full / volume:.1%} of its volume"
        )
