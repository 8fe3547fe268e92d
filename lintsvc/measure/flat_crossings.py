"""Where cut lines cross, touch or overlap each other although they do not meet end to end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_curves import ARC, CIRCLE, Curves
from lintsvc.measure.flat_segments import Segments, box_pairs, distance_to_segments
from lintsvc.measure.flat_weld import Floats, Ints

CROSS, TOUCH, OVERLAP = range(3)
#: Arcs of one circle that share less than this (radians) follow each other.
_LITTLE_TURN = 1e-3
#: Enough to say "many"; a part has a handful.
MOST = 20_000


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs of curves that meet: `curves` (m, 2), `kind` (m,) CROSS, TOUCH or OVERLAP, `place` (m, 2) mm.

    `ends` (m, 2, 2): for an overlap, where it starts and ends. `more`: the search stopped at MOST.
    """

    curves: Ints
    kind: NDArray[np.int8]
    place: Floats
    ends: Floats
    more: bool

    def __len__(self) -> int:
        return len(self.kind)

    def only(self, which: NDArray[np.bool_]) -> Meetings:
        """Return some of them."""
        return Meetings(self.curves[which], self.kind[which], self.place[which], self.ends[which], self.more)


def meetings_of(curves: Curves, kept: Ints, segments: Segments) -> Meetings:
    """Find all meetings among the curves `kept`. Raises TooTangled where there are too many pairs to look at."""
    found: list[Meetings] = []
    total, more = 0, False
    arc = curves.kind == ARC
    for i, j in segments.near_pairs(0.0):
        found.append(_of_segments(curves, segments, i, j, arc))
        total += len(found[-1])
        if total > MOST:
            found[-1] = found[-1].only(np.arange(len(found[-1])) < MOST - total + len(found[-1]))
            more = True
            break
    circles = kept[curves.kind[kept] == CIRCLE]
    if len(circles) and not more:
        found += [_of_circles(curves, circles), _of_circles_and_segments(curves, circles, segments)]
    return Meetings(
        np.concatenate([x.curves for x in found]) if found else np.zeros((0, 2), np.int64),
        np.concatenate([x.kind for x in found]) if found else np.zeros(0, np.int8),
        np.concatenate([x.place for x in found]) if found else np.zeros((0, 2)),
        np.concatenate([x.ends for x in found]) if found else np.zeros((0, 2, 2)),
        more,
    )


def _cross(u: Floats, v: Floats) -> Floats:
    product: Floats = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return product


def _sides(s: Segments, i: Ints, j: Ints) -> Floats:
    """Return the signed distances (n, 2) of the ends of piece j from the line through piece i."""
    u = s.b[i] - s.a[i]
    both = np.column_stack([_cross(u, s.a[j] - s.a[i]), _cross(u, s.b[j] - s.a[i])])
    distances: Floats = both / np.hypot(*u.T)[:, None]
    return distances


def _beside(distances: Floats, slack: float) -> NDArray[np.bool_]:
    """True where both ends lie on one side."""
    result: NDArray[np.bool_] = (distances.min(axis=1) > slack) | (distances.max(axis=1) < -slack)
    return result


def _of_segments(curves: Curves, s: Segments, i: Ints, j: Ints, arc: NDArray[np.bool_]) -> Meetings:
    # Most pairs pass each other by, which one look tells.
    most = curves.same_mm + curves.chord_mm
    for one, other in ((0, 1), (1, 0)):
        pair = (i, j)
        meet = ~_beside(_sides(s, pair[one], pair[other]), most)
        i, j = i[meet], j[meet]
    to_i, to_j = _sides(s, i, j), _sides(s, j, i)
    ci, cj = s.curve[i], s.curve[j]
    ai, bi, aj, bj = s.a[i], s.b[i], s.a[j], s.b[j]
    ui = bi - ai
    # Points of arcs lie on the arc, chords do not.
    slack = curves.same_mm + np.where(arc[ci] | arc[cj], curves.chord_mm, 0.0)
    joined = (s.tail[i] == s.tail[j]) | (s.tail[i] == s.head[j]) | (s.head[i] == s.tail[j]) | (s.head[i] == s.head[j])

    apart_i, apart_j = np.abs(to_i).min(axis=1), np.abs(to_j).min(axis=1)
    crosses = (to_i.prod(axis=1) < 0) & (to_j.prod(axis=1) < 0) & (apart_i > slack) & (apart_j > slack) & ~joined

    ends = np.stack([aj, bj, ai, bi])
    on = [distance_to_segments(aj, ai, bi), distance_to_segments(bj, ai, bi)]
    on += [distance_to_segments(ai, aj, bj), distance_to_segments(bi, aj, bj)]
    close = np.stack([x for x, _ in on]) <= slack
    # Collinear: two different points of the overlap are ends that lie on the other piece.
    flat_i, flat_j = (np.abs(to_i) <= slack[:, None]).all(axis=1), (np.abs(to_j) <= slack[:, None]).all(axis=1)
    start, stop = _spread(ends, close)
    long = np.hypot(*(stop - start).T)
    overlaps = (flat_i | flat_j) & (long > 4 * slack)
    # Pieces that meet end to end may still turn back over each other; points of one arc never do.
    overlaps &= ~(joined & arc[ci] & arc[cj])
    touches = close.any(axis=0) & ~overlaps & ~crosses & ~joined

    # Two arcs of one circle: chords criss-cross, the arcs overlap or follow each other.
    both = np.flatnonzero(arc[ci] & arc[cj] & (ci != cj) & (crosses | touches | overlaps))
    one_circle = both[_same_circle(curves, ci[both], cj[both], slack[both])]
    shared = {(a, b): shared_turn(curves, a, b) for a, b in set(zip(ci[one_circle], cj[one_circle], strict=True))}
    pairs = zip(ci[one_circle], cj[one_circle], strict=True)
    overlaps[one_circle] = [shared[pair] > _LITTLE_TURN for pair in pairs]
    crosses[one_circle] = touches[one_circle] = False

    hit = np.flatnonzero(crosses | touches | overlaps)
    kind = np.where(crosses[hit], CROSS, np.where(overlaps[hit], OVERLAP, TOUCH)).astype(np.int8)
    share = np.divide(to_j[hit, 0], to_j[hit, 0] - to_j[hit, 1], where=crosses[hit], out=np.zeros(len(hit)))
    crossing = ai[hit] + share[:, None] * ui[hit]
    middle = (start[hit] + stop[hit]) / 2
    place = np.where(crosses[hit, None], crossing, middle)
    return Meetings(np.column_stack([ci[hit], cj[hit]]), kind, place, np.stack([start[hit], stop[hit]], axis=1), False)


def _spread(ends: Floats, close: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return the two of four points (4, n, 2), among those marked, that lie furthest apart."""
    count = ends.shape[1]
    best, start, stop = np.full(count, -1.0), np.zeros((count, 2)), np.zeros((count, 2))
    for p in range(4):
        for q in range(p, 4):
            far = np.where(close[p] & close[q], np.hypot(*(ends[p] - ends[q]).T), -1.0)
            better = far > best
            best[better], start[better], stop[better] = far[better], ends[p][better], ends[q][better]
    return start, stop


def _same_circle(curves: Curves, i: Ints, j: Ints, slack: Floats) -> NDArray[np.bool_]:
    off = np.hypot(*(curves.centre[i] - curves.centre[j]).T)
    result: NDArray[np.bool_] = (off <= slack) & (np.abs(curves.radius[i] - curves.radius[j]) <= slack)
    return result


def shared_turn(curves: Curves, one: int, other: int) -> float:
    """Return the angle (radians) that two arcs of one circle share."""
    turn = 2 * np.pi
    start, sweep, more = curves.start[one], float(curves.sweep[one]), float(curves.sweep[other])
    # The other arc begins `at` after the first; where it reaches past a whole turn, it comes round again.
    at = float((curves.start[other] - start) % turn)
    shared = max(0.0, min(sweep, at + more) - at)
    return shared + max(0.0, min(sweep, at + more - turn))


def _of_circles(curves: Curves, circles: Ints) -> Meetings:
    import shapely

    centre, radius = curves.centre[circles], curves.radius[circles]
    low, high = centre - radius[:, None], centre + radius[:, None]
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    tree = shapely.STRtree(boxes)
    pairs, kinds, places = [], [], []
    total = 0
    for i, j in box_pairs(tree, np.asarray(boxes)):
        i, j = i[j > i], j[j > i]
        between = centre[j] - centre[i]
        far = np.hypot(*between.T)
        outside, inside = far - radius[i] - radius[j], np.abs(radius[i] - radius[j]) - far
        slack = curves.same_mm
        hit = np.flatnonzero((outside <= slack) & (inside <= slack))
        deep = (outside[hit] < -slack) & (inside[hit] < -slack)
        kinds.append(np.where(deep, CROSS, TOUCH).astype(np.int8))
        pairs.append(np.column_stack([circles[i[hit]], circles[j[hit]]]))
        places.append(_common_point(centre[i[hit]], radius[i[hit]], between[hit], radius[j[hit]]))
        total += len(hit)
        if total > MOST:
            break
    place = np.concatenate(places)
    return Meetings(np.concatenate(pairs), np.concatenate(kinds), place, np.stack([place, place], axis=1), total > MOST)


def _common_point(centre: Floats, radius: Floats, between: Floats, other: Floats) -> Floats:
    """Return one of the two points where circles meet."""
    far = np.maximum(np.hypot(*between.T), 1e-12)
    along = (far**2 + radius**2 - other**2) / (2 * far)
    up = np.sqrt(np.maximum(0.0, radius**2 - along**2))
    unit = between / far[:, None]
    point: Floats = centre + along[:, None] * unit + up[:, None] * np.column_stack([-unit[:, 1], unit[:, 0]])
    return point


def _of_circles_and_segments(curves: Curves, circles: Ints, s: Segments) -> Meetings:
    import shapely

    none = Meetings(np.zeros((0, 2), np.int64), np.zeros(0, np.int8), np.zeros((0, 2)), np.zeros((0, 2, 2)), False)
    if not len(s):
        return none
    centre, radius = curves.centre[circles], curves.radius[circles]
    low, high = centre - radius[:, None], centre + radius[:, None]
    found = []
    total = 0
    for c, k in box_pairs(s.tree, np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))):
        nearest, share = distance_to_segments(centre[c], s.a[k], s.b[k])
        from_a, from_b = np.hypot(*(s.a[k] - centre[c]).T), np.hypot(*(s.b[k] - centre[c]).T)
        slack = curves.same_mm + np.where(curves.kind[s.curve[k]] == ARC, curves.chord_mm, 0.0)
        r = radius[c]
        furthest = np.maximum(from_a, from_b)
        hit = np.flatnonzero((nearest <= r + slack) & (furthest >= r - slack))
        deep = (nearest[hit] < r[hit] - slack[hit]) & (furthest[hit] > r[hit] + slack[hit])
        foot = s.a[k[hit]] + share[hit, None] * (s.b[k[hit]] - s.a[k[hit]])
        # Where the piece comes through: near its foot for a touch, else towards the end outside.
        outer = np.where((from_a > from_b)[hit, None], s.a[k[hit]], s.b[k[hit]])
        place = np.where(deep[:, None], _leaves(foot, outer, centre[c[hit]], r[hit]), foot)
        pair = np.column_stack([circles[c[hit]], s.curve[k[hit]]])
        kind = np.where(deep, CROSS, TOUCH).astype(np.int8)
        found.append(Meetings(pair, kind, place, np.stack([place, place], axis=1), False))
        total += len(hit)
        if total > MOST:
            break
    return Meetings(
        np.concatenate([x.curves for x in found]),
        np.concatenate([x.kind for x in found]),
        np.concatenate([x.place for x in found]),
        np.concatenate([x.ends for x in found]),
        total > MOST,
    )


def _leaves(inside: Floats, outside: Floats, centre: Floats, radius: Floats) -> Floats:
    """Return where the way from a point inside a circle to one outside crosses it."""
    way, at = outside - inside, inside - centre
    a = np.maximum((way**2).sum(axis=1), 1e-300)
    b = (way * at).sum(axis=1)
    c = (at**2).sum(axis=1) - radius**2
    share = (-b + np.sqrt(np.maximum(0.0, b * b - a * c))) / a
    point: Floats = inside + np.clip(share, 0.0, 1.0)[:, None] * way
    return point
