"""Does a thing with hollows go into its place: by its own shape, where its convex hull does not.

An angle lies in an angled place that its hull does not go into. The gap between the two solids is made as wide as
small moves and turns make it. A file's axes need not be those of the place: where the order says no turn, the thing is
tried in all 24 ways in which its axes can lie along them.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache
from typing import Any

import numpy as np

from lintsvc.order.frames import Floats, corners_of, moved, place_of
from lintsvc.order.shape import Shape
from lintsvc.order.solids import Standing, gap, overlap, solid_of

#: A thing that fills its hull so far has no hollows. Finer shapes than this are not gone through.
_FILLS, _MOST_FACES = 0.99, 20_000
#: The thing is moved by these steps; gaps are looked for as far as the last.
_STEPS_MM, _FAR_MM = (0.4, 0.1, 0.025), 3.0
#: So far it is turned from how it is said to lie, and so many of the ways to turn its axes are looked at closely.
_TURN, _CLOSER = math.radians(3.0), 3
#: On the way in it is moved by its gap, by at least the first and at most the second.
_LEAST_MM, _MOST_MM = 0.1, 5.0
_MOST_STEPS = 400

#: Clearance, place and nearest point in the part's frame, and the clearance on the way in.
Found = tuple[float, Floats, tuple[float, float, float], float]


def has_hollows(thing: Shape) -> bool:
    """Return whether a thing's closed mesh leaves part of its convex hull empty, and is coarse enough."""
    from scipy.spatial import ConvexHull

    if thing.volume_mm3 is None or len(thing.faces) > _MOST_FACES:
        return False
    return bool(abs(thing.volume_mm3) < _FILLS * ConvexHull(thing.vertices).volume)


def own_fit(part: Shape, thing: Shape, start: Floats) -> Found | None:
    """Return how a thing fits by its own shape about where it is said to lie; None where one of both is no solid."""
    if len(part.faces) > 10 * _MOST_FACES:
        return None
    case, solid = solid_of(part), solid_of(thing)
    if case is None or solid is None:
        return None
    stands = Standing.at("part", case, np.eye(4))
    # A turn by so much moves its farthest corner by a step.
    reach = float(np.linalg.norm(np.subtract(*thing.box))) / 2
    place = start.copy()
    now, at = _clearance(stands, solid, place)
    for step in _STEPS_MM:
        moves = True
        while moves and now < _FAR_MM:
            moves = False
            for other in _beside(place, step, step / reach):
                far = np.abs(other[:3, 3] - start[:3, 3]).max() > 1.0
                if far or _angle(other[:3, :3] @ start[:3, :3].T) > _TURN:
                    continue
                found, there = _clearance(stands, solid, other)
                if found > now + 1e-6:
                    now, at, place, moves = found, there, other, True
    return now, place, at, now if now < 0 else _way_in(stands, part, thing, solid, place)


def turned_fit(part: Shape, thing: Shape, start: Floats) -> Found | None:
    """Return how a thing fits turned by quarters in any other way; None where it goes in in none of them."""
    if len(part.faces) > 10 * _MOST_FACES or len(thing.faces) > _MOST_FACES:
        return None
    case, solid = solid_of(part), solid_of(thing)
    if case is None or solid is None:
        return None
    stands = Standing.at("part", case, np.eye(4))
    tries = []
    for number, degrees in enumerate(quarter_turns()):
        other = start @ place_of((0.0, 0.0, 0.0), degrees)
        tries.append((-_clearance(stands, solid, other)[0], number, other))
    best = None
    for _, number, other in sorted(tries, key=lambda x: x[:2])[:_CLOSER]:
        found = own_fit(part, thing, other) if number else None
        if found is not None and found[0] >= 0 and found[3] >= 0 and (best is None or found[0] > best[0]):
            best = found
    return best


@lru_cache(maxsize=1)
def quarter_turns() -> tuple[tuple[float, float, float], ...]:
    """Return the 24 ways to turn axes onto axes, as turns about x, then y, then z; the first is none at all.

    >>> len(quarter_turns())
    24
    """
    found: dict[bytes, tuple[float, float, float]] = {}
    for x, y, z in itertools.product((0.0, 90.0, 180.0, 270.0), repeat=3):
        turn = np.round(place_of((0.0, 0.0, 0.0), (x, y, z))[:3, :3]).astype(np.int8)
        found.setdefault(turn.tobytes(), (x, y, z))
    return tuple(sorted(found.values(), key=lambda each: (sum(v > 0 for v in each), each)))


def _beside(place: Floats, step_mm: float, angle: float) -> list[Floats]:
    """Return a place moved along and turned about each axis, a little to both sides."""
    found = []
    for axis in range(3):
        for sign in (1.0, -1.0):
            other = place.copy()
            other[axis, 3] += sign * step_mm
            turn = [0.0, 0.0, 0.0]
            turn[axis] = sign * math.degrees(angle)
            spun = place.copy()
            spun[:3, :3] = place_of((0.0, 0.0, 0.0), turn)[:3, :3] @ place[:3, :3]
            found += [other, spun]
    return found


def _angle(turn: Floats) -> float:
    """Return by how much a rotation turns."""
    return math.acos(min(1.0, max(-1.0, (float(np.trace(turn)) - 1) / 2)))


def _clearance(stands: Standing, solid: Any, place: Floats) -> tuple[float, tuple[float, float, float]]:
    """Return the gap, negative as deep as they overlap, and about where."""
    here = Standing.at("thing", solid, place)
    deep, middle, _, _ = overlap(stands, here)
    if deep > 0:
        x, y, z = middle.tolist()
        return -deep, (x, y, z)
    x, y, z = place[:3, 3].tolist()
    return gap(stands, here, _FAR_MM), (x, y, z)


def _way_in(stands: Standing, part: Shape, thing: Shape, solid: Any, place: Floats) -> float:
    """Return the least gap on the best straight way out along the thing's axes; negative where each is barred."""
    low, high = thing.box
    corners = moved(place, corners_of(low, high))
    best = -np.inf
    for axis in range(3):
        for sign in (1.0, -1.0):
            way, gone, least = sign * place[:3, axis], 0.0, np.inf
            long = float((part.vertices @ way).max() - (corners @ way).min())
            here = place.copy()
            for _ in range(_MOST_STEPS):
                if gone >= long or least <= max(best, -2.0):
                    break
                now, _ = _clearance(stands, solid, here)
                least = min(least, now)
                step = min(max(now, _LEAST_MM), _MOST_MM)
                gone += step
                here[:3, 3] = place[:3, 3] + gone * way
            best = max(best, least)
    return float(best)
