"""Where panels and bends go when a flat is folded, each bend as far as wanted."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.fold_cells import Cells
from lintsvc.measure.fold_zones import FoldBend, FoldZone, NotFolded

Floats = NDArray[np.float64]
#: Two ways round to one panel may differ by so much (mm).
_CLOSED_MM = 1e-3
#: A bend turned by less (radians) is flat: its radius would be too large to compute with.
_FLAT = 1e-7


@dataclass(frozen=True, eq=False)
class Pose:
    """Places of panels (4 × 4, flat to folded) and of zones (of the sheet at their y < 0 side), and turns by bend."""

    panels: tuple[Floats, ...]
    zones: tuple[Floats, ...]
    turns: tuple[float, ...]


def pose(
    cells: Cells,
    bends: Sequence[FoldBend],
    zones: Sequence[FoldZone],
    thickness_mm: float,
    base: int,
    parts: Mapping[int, float],
) -> Pose:
    """Return where everything goes with the base panel in place.

    `parts`: how far each bend is folded, 0 to 1, by its number; bends that are not named are folded whole.
    Raises NotFolded where bends that hold each other are folded differently, and for panels that hang on nothing.
    """
    turns = tuple(bend.angle * min(1.0, max(0.0, parts.get(bend.number, 1.0))) for bend in bends)
    steps = [beyond(bend, turn, thickness_mm) for bend, turn in zip(bends, turns, strict=True)]
    around: dict[int, list[tuple[int, int]]] = {}
    for number, sides in enumerate(cells.sides):
        for side, panels in enumerate(sides):
            for panel in panels:
                around.setdefault(panel, []).append((number, side))
    places: dict[int, Floats] = {base: np.eye(4)}
    zone_places: dict[int, Floats] = {}
    waiting = deque([base])
    while waiting:
        panel = waiting.popleft()
        for number, side in around.get(panel, []):
            if number in zone_places:
                continue
            step = steps[zones[number].bend]
            near = places[panel] if side == 0 else places[panel] @ inverse(step)
            zone_places[number] = near
            for other_side, place in enumerate((near, near @ step)):
                for other in cells.sides[number][other_side]:
                    if other not in places:
                        places[other] = place
                        waiting.append(other)
                    elif not _same(places[other], place, cells.panels[other].bounds):
                        bend = bends[zones[number].bend]
                        why = f"bend {bend.number + 1} closes a ring of panels that its other bends do not close"
                        raise NotFolded(why, (bend.number,), bend.origin)
    if len(places) < len(cells.panels):
        lost = next(i for i in range(len(cells.panels)) if i not in places)
        at = cells.panels[lost].representative_point()
        raise NotFolded("a piece of the sheet hangs on no bend", (), (float(at.x), float(at.y)))
    return Pose(tuple(places[i] for i in range(len(places))), tuple(zone_places[i] for i in range(len(zones))), turns)


def beyond(bend: FoldBend, turn: float, thickness_mm: float) -> Floats:
    """Return how the sheet at y > 0 of a bend moves against the sheet at y < 0, in coordinates of the flat (4 × 4)."""
    if turn < _FLAT:
        return np.eye(4)
    along, left, axis = _axes(bend, turn, thickness_mm)
    up = np.array([0.0, 0.0, 1.0])
    angle = turn if bend.up else -turn
    c, s = math.cos(angle), math.sin(angle)
    rotation = (
        np.outer(along, along)
        + c * (np.outer(left, left) + np.outer(up, up))
        + s * (np.outer(up, left) - np.outer(left, up))
    )
    place = np.eye(4)
    place[:3, :3] = rotation
    place[:3, 3] = axis + rotation @ (-bend.allowance_mm * left - axis)
    return place


def bent(bend: FoldBend, turn: float, thickness_mm: float, points: Floats, z: float) -> Floats:
    """Return where points of a bend's zone (n, 2, in the flat) at height z go, the sheet at its y < 0 side in place."""
    if turn < _FLAT:
        return np.column_stack([points, np.full(len(points), z)])
    along, left, axis = _axes(bend, turn, thickness_mm)
    local = bend.here(points)
    angle = (local[:, 1] + bend.half_mm) / bend.allowance_mm * turn
    # From the axis, which lies above for an upward bend and below for a downward one.
    reach = axis[2] - z if bend.up else z - axis[2]
    sign = 1.0 if bend.up else -1.0
    out = np.outer(local[:, 0], along) + axis
    out += np.outer(reach * np.sin(angle), left)
    out[:, 2] -= sign * reach * np.cos(angle)
    return np.asarray(out)


def _axes(bend: FoldBend, turn: float, thickness_mm: float) -> tuple[Floats, Floats, Floats]:
    """Return the bend's direction, the direction across it to its left, and the point of its axis at x = 0.

    A bend that is not folded whole keeps its allowance: its radius is the larger.
    """
    along = np.array([*bend.along, 0.0])
    left = np.array([-bend.along[1], bend.along[0], 0.0])
    radius = bend.allowance_mm / turn - bend.k * thickness_mm
    axis = np.array([*bend.origin, 0.0]) - left * bend.half_mm
    axis[2] = thickness_mm + radius if bend.up else -radius
    return along, left, axis


def moved(place: Floats, points: Floats) -> Floats:
    """Return (n, 3) points moved by a 4 × 4 place."""
    return np.asarray(points @ place[:3, :3].T + place[:3, 3])


def inverse(place: Floats) -> Floats:
    """Return the way back of a turn and move."""
    back = np.eye(4)
    back[:3, :3] = place[:3, :3].T
    back[:3, 3] = -place[:3, :3].T @ place[:3, 3]
    return back


def _same(one: Floats, other: Floats, box: tuple[float, float, float, float]) -> bool:
    corners = np.array([(x, y, 0.0) for x in (box[0], box[2]) for y in (box[1], box[3])])
    return float(np.abs(moved(one, corners) - moved(other, corners)).max()) < _CLOSED_MM
