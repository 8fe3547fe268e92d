"""Does a thing go into the place that a part has for it, and with how much play.

The thing is an envelope: a box, a cylinder, or a mesh: its convex hull, and where that does not go in, its own shape.
The pose with the most clearance is searched near where the order says it lies, by linear programs over points of the
part's surface (each point's distance from the envelope, made linear in small moves and turns), and its clearance is
what is judged.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.model.material import Value
from lintsvc.model.source import Source
from lintsvc.order.frames import Floats, corners_of, moved, place_of
from lintsvc.order.own_shape import has_hollows, own_fit, quarter_turns, turned_fit
from lintsvc.order.pocket_search import Pocket, pockets
from lintsvc.order.relations import Holds
from lintsvc.order.shape import Shape
from lintsvc.order.tolerances import bend_tolerance, finish_per_face, hole_figure, hole_size, size_tolerance
from lintsvc.order.way_in import way_in
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import Thing

#: Points of the surface are this far apart at most; surface this near to the thing is looked at.
_STEP_MM, _NEAR_MM = 1.0, 4.0
#: The thing is moved from where the order says by the first at most, by the second where it does not fit there.
_MOVE_MM, _FAR_MOVE_MM = 0.5, 3.0
_TURN = math.radians(3.0)
#: Places tried where the order names none; how much too narrow a place is none at all.
_MOST_PLACES, _NO_PLACE_MM = 12, 2.0
#: More points than this are thinned out.
_MOST_POINTS = 150_000
#: Planes of a hull that are looked at, and distances from them at once.
_MOST_PLANES, _MOST_AT_ONCE = 800, 8_000_000

#: From points in the thing's frame (n, 3): signed distance (n,), negative inside, and the way it grows (n, 3).
Distance = Callable[[Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, eq=False)
class Held:
    """What came of a `holds` relation. `place` takes the thing's frame to the part's; None with the reason in `why`.

    `clearance_mm`: as drawn, on each side, in the best pose; negative where the thing does not go in. `loss_mm`: what
    process and the thing's own tolerance take of it on a side, `finish_mm`: what the finish takes. `at`: the place
    of the part that comes nearest.
    """

    number: int
    relation: Holds
    place: Floats | None
    clearance_mm: float = 0.0
    loss_mm: float = 0.0
    loss_source: Source | None = None
    finish_mm: float = 0.0
    finish_source: Source | None = None
    at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    #: The least clearance on the best straight way in; negative where there is none.
    way_in_mm: float = 0.0
    why: str = ""

    @property
    def turned_deg(self) -> tuple[float, float, float] | None:
        """How it was turned, by quarters, beyond what the order says; None where it lies as the order says."""
        if self.place is None or self.relation.at is None:
            return None
        said = place_of((0.0, 0.0, 0.0), self.relation.turn_deg)[:3, :3]
        by = said.T @ self.place[:3, :3]
        turns = [place_of((0.0, 0.0, 0.0), x)[:3, :3] for x in quarter_turns()]
        nearest = int(np.argmin([np.linalg.norm(by - x) for x in turns]))
        return quarter_turns()[nearest] if nearest else None

    @property
    def left_mm(self) -> float:
        """Play that is left on each side after the tolerances, without finish."""
        return self.clearance_mm - self.loss_mm


def held(order: CheckedOrder, number: int, relation: Holds) -> Held:
    """Return whether a thing goes into its place."""
    part, thing = order.things[relation.part], order.things[relation.thing]
    try:
        if relation.at is None:
            clearance, place, at, way = _searched(order, part.shape, thing, relation)
        else:
            start = place_of(relation.at, relation.turn_deg)
            clearance, place, at, way = _known_fit(order, part.shape, thing, start, relation)
    except CannotCheck as why:
        return Held(number, relation, None, why=str(why))
    loss, source = _loss(part, thing)
    coat, own = finish_per_face(part), finish_per_face(thing)
    finish = (0.0 if relation.masked else coat.value) + own.value
    said = own.source if relation.masked or own.value > coat.value else coat.source
    return Held(number, relation, place, clearance, loss, source, finish, said, at, way)


Fit = tuple[float, Floats, tuple[float, float, float], float]


def _searched(order: CheckedOrder, part: Shape, thing: Thing, relation: Holds) -> Fit:
    """Return the fit in the only place where the thing could lie. Raises CannotCheck, naming the places there are."""
    ask = f"say where {relation.thing} lies in {relation.part}: at = [x, y, z] of its middle"
    low, high = thing.shape.box
    a, b, c = (high - low).tolist()
    fits: list[tuple[Fit, Pocket]] = []
    for each in pockets(part, (a, b, c), relation.turn_deg, relation.play)[:_MOST_PLACES]:
        fitted = _known_fit(order, part, thing, place_of(each.at, each.turn_deg), relation)
        if fitted[0] > -_NO_PLACE_MM:
            fits.append((fitted, each))
    # Where it goes in, it is meant to lie; where it does not, the only place is the one that was meant.
    fits = [x for x in fits if x[0][0] >= 0 and x[0][3] > -_NO_PLACE_MM] or fits
    if not fits:
        raise CannotCheck(f"{ask}; no place of about its size, with walls on both sides of it, was found")
    if len(fits) == 1 and fits[0][1].through:
        raise CannotCheck(
            f"{ask}; the only place goes through, so how far in it lies is not known: {_place_words(fits[0][1])}"
        )
    if len(fits) > 1:
        places = "; ".join(_place_words(x) for _, x in fits[:6])
        raise CannotCheck(f"{ask}; there are {len(fits)} places of about its size: {places}")
    return fits[0][0]


def _place_words(pocket: Pocket) -> str:
    at = ", ".join(f"{x:g}" for x in pocket.at)
    turned = f", turn_deg = [{', '.join(f'{x:g}' for x in pocket.turn_deg)}]" if any(pocket.turn_deg) else ""
    size = " × ".join("open" if math.isinf(x) else f"{x:.4g}" for x in pocket.size_mm)
    return f"at = [{at}]{turned} ({size} mm)"


def _loss(part: Thing, thing: Thing) -> tuple[float, Source]:
    """Return what tolerances take of the clearance on one side: half of each ± on a size."""
    from lintsvc.order.things import OrderedPart

    low, high = thing.shape.box
    size = float((high - low).max())
    held_to = _bore_tolerance(part, thing) or size_tolerance(part, size)
    loss = held_to.value / 2 + size_tolerance(thing, size).value / 2
    source = held_to.source
    if isinstance(part, OrderedPart) and len(part.shape.panel_bends) > 1:
        # Between flanges: each leans in by its angle over half the thing's least height.
        degrees, flat_mm, source = bend_tolerance(part)
        loss += flat_mm / 2 + math.radians(degrees) * float((high - low).min()) / 2
    return loss, source


def _bore_tolerance(part: Thing, thing: Thing) -> Value | None:
    """Return how much narrower a bore for a round thing may come out by the shop's own record of holes; else None."""
    from lintsvc.order.things import BoughtThing

    shown = hole_figure(part)
    if shown is None or not isinstance(thing, BoughtThing) or thing.entry.diameter is None:
        return None
    near = np.abs(part.shape.holes.diameter_mm - thing.entry.diameter) < _NO_PLACE_MM
    return Value(max(0.0, hole_size(part).worst_mm), shown.source) if near.any() else None


def _known_fit(order: CheckedOrder, part: Shape, thing: Thing, start: Floats, relation: Holds) -> Fit:
    """As `fit`, and the clearance on the way in; kept from run to run."""
    play = relation.play
    # Nobody says how a file's thing is turned in its place.
    free = getattr(thing.entry, "shape", "") == "file" and "turn_deg" not in relation.model_fields_set
    digest = hashlib.sha256(f"pocket 4 {free}".encode())
    for each in (part.vertices, part.faces, thing.shape.vertices, thing.shape.faces, start, np.array([play])):
        digest.update(np.ascontiguousarray(each).tobytes())
    key = digest.hexdigest()
    known = order.kept.find(key)
    if known is not None:
        clearance, place, at, way = json.loads(known)
        return clearance, np.array(place), (at[0], at[1], at[2]), way
    distance = distance_of(thing)
    clearance, found, at = fit(part, distance, thing.shape, start, play)
    # What does not go where it lies goes nowhere.
    way = clearance if clearance < 0 else max(-1e3, way_in(part, distance, thing.shape, found, surface_points, start))
    if way < 0:
        # A hull that does not go in, or not out again, tells nothing of a thing with hollows.
        own = own_fit(part, thing.shape, start) if has_hollows(thing.shape) else None
        # A file has its axes as whoever drew it had them.
        if free and (own is None or min(own[0], own[3]) < 0):
            own = turned_fit(part, thing.shape, start) or own
        if own is not None and own[0] > clearance:
            clearance, found, at, way = own[0], own[1], own[2], max(-1e3, own[3])
    order.kept.keep(key, json.dumps([clearance, found.tolist(), at, way]).encode())
    return clearance, found, at, way


def distance_of(thing: Thing) -> Distance:
    """Return the signed distance from a thing's envelope."""
    from lintsvc.order.things import BoughtThing

    if isinstance(thing, BoughtThing) and thing.entry.shape == "box" and thing.entry.size is not None:
        return box_distance(np.array(thing.entry.size) / 2)
    if isinstance(thing, BoughtThing) and thing.entry.diameter is not None and thing.entry.height is not None:
        return cylinder_distance(thing.entry.diameter / 2, thing.entry.height / 2)
    return hull_distance(thing.shape.vertices)


def box_distance(half: Floats) -> Distance:
    """Return the distance from a box about the origin."""

    def distance(points: Floats) -> tuple[Floats, Floats]:
        beyond = np.abs(points) - half
        out = np.maximum(beyond, 0)
        away = np.linalg.norm(out, axis=1)
        inside = away <= 0
        face = np.zeros_like(points)
        face[np.arange(len(points)), beyond.argmax(axis=1)] = 1
        way = np.where(inside[:, None], face, out / np.maximum(away, 1e-12)[:, None])
        return np.where(inside, beyond.max(axis=1), away), way * np.where(points < 0, -1.0, 1.0)

    return distance


def cylinder_distance(radius: float, half: float) -> Distance:
    """Return the distance from a cylinder along z about the origin."""

    def distance(points: Floats) -> tuple[Floats, Floats]:
        across = np.hypot(points[:, 0], points[:, 1])
        beyond = np.column_stack([across - radius, np.abs(points[:, 2]) - half])
        out = np.maximum(beyond, 0)
        away = np.linalg.norm(out, axis=1)
        inside = (beyond < 0).all(axis=1)
        most: Floats = beyond.max(axis=1)
        # Inside, the way out is through the nearer of mantle and end.
        nearer = np.eye(2)[beyond.argmax(axis=1)]
        flat = np.where(inside.reshape(-1, 1), nearer, out / np.maximum(away, 1e-12).reshape(-1, 1))
        radial = points[:, :2] / np.maximum(across, 1e-9)[:, None]
        way = np.column_stack([flat[:, :1] * radial, flat[:, 1] * np.where(points[:, 2] < 0, -1.0, 1.0)])
        return np.where(inside, most, away), way

    return distance


def hull_distance(vertices: Floats) -> Distance:
    """Return the distance from a convex hull: by its faces' planes, so a little short beyond its edges."""
    planes = hull_planes(vertices)

    def distance(points: Floats) -> tuple[Floats, Floats]:
        away, way = np.empty(len(points)), np.empty_like(points)
        # In pieces: a round hull has many planes, and a wide place many points.
        for part in np.array_split(np.arange(len(points)), 1 + len(points) * len(planes) // _MOST_AT_ONCE):
            every = points[part] @ planes[:, :3].T + planes[:, 3]
            which = every.argmax(axis=1)
            away[part], way[part] = every[np.arange(len(part)), which], planes[which, :3]
        return away, way

    return distance


def hull_planes(vertices: Floats) -> Floats:
    """Return the planes (k, 4) of a convex hull's faces, outward normal and offset: not more than can be gone through.

    Of a finely divided round hull some are left out, neighbours of others: it then counts as larger by less than a
    hundredth of its roundings' radius, never as smaller.
    """
    from scipy.spatial import ConvexHull

    hull = ConvexHull(vertices)
    planes, which = np.unique(np.round(hull.equations, 9), axis=0, return_inverse=True)
    if len(planes) <= _MOST_PLANES:
        return planes
    a, b, c = (vertices[hull.simplices[:, i]] for i in range(3))
    area = np.bincount(which.ravel(), np.linalg.norm(np.cross(b - a, c - a), axis=1), len(planes))
    # The largest faces, and then always the one that looks farthest past all chosen before.
    chosen = np.argsort(-area, kind="stable")[: _MOST_PLANES // 8].tolist()
    alike = (planes[:, :3] @ planes[chosen, :3].T).max(axis=1)
    while len(chosen) < _MOST_PLANES:
        chosen.append(int(alike.argmin()))
        alike = np.maximum(alike, planes[:, :3] @ planes[chosen[-1], :3])
    return np.asarray(planes[chosen])


def fit(
    part: Shape, distance: Distance, thing: Shape, start: Floats, play: float
) -> tuple[float, Floats, tuple[float, float, float]]:
    """Return the clearance (mm), the place (4 × 4) and the nearest point of the part in the pose with most clearance.

    Raises CannotCheck where the part has no surface near.
    """
    around = moved(start, corners_of(*thing.box))
    points = surface_points(part, around.min(axis=0) - _NEAR_MM, around.max(axis=0) + _NEAR_MM)
    if not len(points):
        raise CannotCheck("there is nothing of the part near the place where the thing is said to lie")
    clearance, place = _search(points, distance, start, max(_MOVE_MM, 1.5 * play))
    if clearance < play and np.abs(place[:3, 3] - start[:3, 3]).max() > 0.45:
        clearance, place = _search(points, distance, start, _FAR_MOVE_MM)
    away, _ = distance((points - place[:3, 3]) @ place[:3, :3])
    x, y, z = points[int(away.argmin())].tolist()
    return clearance, place, (x, y, z)


def surface_points(part: Shape, low: Floats, high: Floats) -> Floats:
    """Return points of the surface within a box, at most a step apart."""
    corners = part.vertices[part.faces]
    near = (corners.min(axis=1) <= high).all(axis=1) & (corners.max(axis=1) >= low).all(axis=1)
    corners = corners[near]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1) if len(corners) else np.zeros(0)
    pieces = np.clip(np.ceil(longest / _STEP_MM), 1, 400).astype(int)
    found = []
    for n in np.unique(pieces).tolist():
        i, j = np.triu_indices(n + 1)
        # Barycentric lattice: weights i' + j' + k' = n.
        weights = np.column_stack([i, j - i, n - j]) / n
        some = np.einsum("wk,fkd->fwd", weights, corners[pieces == n]).reshape(-1, 3)
        found.append(some[((some >= low) & (some <= high)).all(axis=1)])
    if not found:
        return np.zeros((0, 3))
    points = np.unique(np.round(np.vstack(found), 6), axis=0)
    if len(points) > _MOST_POINTS:
        points = points[np.random.default_rng(0).permutation(len(points))[:_MOST_POINTS]]
    return points


def _search(points: Floats, distance: Distance, start: Floats, most_mm: float) -> tuple[float, Floats]:
    """Return the largest clearance and its pose by linear programs in a region that shrinks when a step fails."""
    from scipy.optimize import linprog
    from scipy.spatial.transform import Rotation

    turn, at = start[:3, :3].copy(), start[:3, 3].copy()
    away, way = distance((points - at) @ turn)
    now = float(away.min())
    reach = float(np.linalg.norm(points - at, axis=1).max())
    region = np.array([most_mm / 2] * 3 + [_TURN / 2] * 3)
    whole = Rotation.identity()
    for _ in range(40):
        near = np.flatnonzero(away < now + 2 * (region[0] + region[3] * reach))
        here = (points[near] - at) @ turn
        rows = np.column_stack([way[near] @ turn.T, np.cross(here, way[near]), np.ones(len(near))])
        room = away[near]
        low, high = -region.copy(), region.copy()
        low[:3] = np.clip(start[:3, 3] - most_mm - at, -region[:3], 0)
        high[:3] = np.clip(start[:3, 3] + most_mm - at, 0, region[:3])
        bounds = [*zip(low, high, strict=True), (None, float(room.min()) + most_mm)]
        chosen = np.argsort(room)[:100]
        step = None
        for _cut in range(25):
            solved = linprog(np.r_[np.zeros(6), -1.0], A_ub=rows[chosen], b_ub=room[chosen], bounds=bounds)
            if solved.status != 0:
                break
            step = solved.x
            over = rows @ step - room
            worst = np.argsort(-over)[:100]
            worst = worst[over[worst] > 1e-7]
            if not len(worst):
                break
            chosen = np.union1d(chosen, worst)
        if step is None:
            break
        small = Rotation.from_rotvec(step[3:6])
        next_turn, next_at = turn @ small.as_matrix(), at + step[:3]
        next_away, next_way = distance((points - next_at) @ next_turn)
        gain = float(next_away.min()) - now
        if gain > 1e-9 and (whole * small).magnitude() <= _TURN:
            turn, at, away, way = next_turn, next_at, next_away, next_way
            now += gain
            whole = whole * small
            region = region * 1.2
            if gain < 1e-5:
                break
        else:
            region = region * 0.4
            if region[0] < 1e-5:
                break
    place = np.eye(4)
    place[:3, :3], place[:3, 3] = turn, at
    return now, place
