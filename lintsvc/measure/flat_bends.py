"""Bends of a flat: its bend lines, with what the file and the user say of each."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Bend, Line, Point2, Polyline, Sheet

#: The user's bend is the file's when the middle of the one lies this near the other's line, and they run alike.
SAME_PLACE_MM = 1.0
SAME_WAY_DEG = 5.0
#: Bend lines whose ends agree within this are one, drawn twice.
TWICE_MM = 0.01


def bends_of(sheet: Sheet, choices: Choices) -> tuple[Bend, ...]:
    """Return the bends: those of the file's own solid, its bend lines, and what the user says of them.

    What the user says goes before what the file says. A bend of the user's that lies on no bend line
    is a bend all the same. Unknown values stay None.
    """
    bends = list(sheet.bends)
    for line in bend_lines(sheet):
        if not any(_same_line(line, x) for x in bends):
            bends.append(line)
    for said in choices.bends:
        places = [k for k, x in enumerate(bends) if _means(said, x)]
        if not places:
            bends.append(said if said.why else replace(said, why="named by the user; no bend line is drawn there"))
        for k in places:
            bends[k] = _told(bends[k], said)
    radius, k_factor = choices.bend_radius_mm, choices.k_factor
    return tuple(
        replace(
            x,
            radius_mm=radius if x.radius_mm is None else x.radius_mm,
            k_factor=k_factor if x.k_factor is None else x.k_factor,
        )
        for x in bends
    )


def bend_lines(sheet: Sheet) -> list[Bend]:
    """Return the straight lines that are drawn as bend lines."""
    found = []
    for entity in sheet.entities:
        if entity.role != "bend":
            continue
        for shape in entity.shapes:
            ends = _straight(shape) if isinstance(shape, (Line, Polyline)) else None
            if ends is not None:
                found.append(
                    Bend(
                        *ends,
                        angle_deg=entity.bend_angle_deg,
                        direction=entity.bend_direction,
                        radius_mm=entity.bend_radius_mm,
                        entity=entity.number,
                        why=entity.role_why,
                    )
                )
    return found


def _straight(shape: Line | Polyline) -> tuple[Point2, Point2] | None:
    """Return the ends of a line, or of a polyline that is straight; None for no length or a bent one."""
    if isinstance(shape, Line):
        return (shape.start, shape.end) if math.dist(shape.start, shape.end) > TWICE_MM else None
    points = np.array(shape.points)
    start, end = points[0], points[-1]
    way = end - start
    length = float(np.hypot(*way))
    if length <= TWICE_MM:
        return None
    off = np.abs((points - start) @ np.array([-way[1], way[0]])) / length
    return (shape.points[0], shape.points[-1]) if off.max() <= TWICE_MM else None


def _same_line(one: Bend, other: Bend) -> bool:
    straight = max(math.dist(one.start, other.start), math.dist(one.end, other.end))
    crossed = max(math.dist(one.start, other.end), math.dist(one.end, other.start))
    return min(straight, crossed) <= TWICE_MM


def _means(said: Bend, bend: Bend) -> bool:
    """True where the user's bend is this one: by entity, else by place and direction."""
    if said.entity is not None and bend.entity is not None:
        return said.entity == bend.entity
    a, b = np.array(bend.start), np.array(bend.end)
    p, q = np.array(said.start), np.array(said.end)
    along, way = b - a, q - p
    length, reach = float(np.hypot(*along)), float(np.hypot(*way))
    middle = (p + q) / 2
    share = min(1.0, max(0.0, float((middle - a) @ along) / max(length**2, 1e-300)))
    near = float(np.hypot(*(middle - a - share * along))) <= SAME_PLACE_MM
    if reach <= TWICE_MM or length <= TWICE_MM:
        return near
    sine = abs(float(along[0] * way[1] - along[1] * way[0])) / (length * reach)
    return near and sine <= math.sin(math.radians(SAME_WAY_DEG))


def _told(bend: Bend, said: Bend) -> Bend:
    """Return the bend with the user's values in place of the file's."""
    given = {
        name: getattr(said, name)
        for name in ("angle_deg", "direction", "radius_mm", "k_factor")
        if getattr(said, name) is not None
    }
    named = ", ".join(x.split("_")[0] for x in given)
    why = "; ".join(x for x in (bend.why, f"{named} by the user") if x)
    return replace(bend, **given, why=why) if given else bend
