"""Where in a part a thing could lie, when the order does not say it: walls that face each other, and bores.

A place has walls on both sides along two of the thing's axes, about as far apart as the thing is wide there, and along
the third a floor, a lid or nothing; or it is a round hole about as wide as the thing. Where there is none, it is one
between two walls alone, as between two ribs on a floor: open on one side or two. It is searched for as the thing is
turned in the order, else along its other axes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.topology_groups import by_label, over_corners
from lintsvc.order.frames import Floats, place_of
from lintsvc.order.shape import Shape

#: A place may be narrower than the thing by the first, and wider by the second and the share of its size.
_NARROWER_MM, _WIDER_MM, _WIDER = 2.0, 4.0, 0.15
#: Walls are flat faces of at least this share of the thing's section, turned by less than the angle's cosine.
_LEAST_WALL, _SQUARE = 0.1, 0.9995
#: A wall this near to the end of two others stops what lies between them.
_END_MM = 3.0
#: More walls than these, the largest of each way, are not paired.
_MOST_WALLS = 120
Turn = tuple[float, float, float]
#: Middle and size of a place in the thing's frame, and whether it goes through.
_Found = tuple[Floats, tuple[float, ...], bool]
_TURNS: tuple[Turn, ...] = (
    (0.0, 0.0, 0.0),
    (0.0, 0.0, 90.0),
    (90.0, 0.0, 0.0),
    (0.0, 90.0, 0.0),
    (90.0, 0.0, 90.0),
    (0.0, 90.0, 90.0),
)


@dataclass(frozen=True, slots=True)
class Pocket:
    """A place where a thing could lie: where its middle would be, how it is turned, and how large the place is.

    `size_mm` is along the thing's axes, infinite where nothing bounds it.
    """

    at: tuple[float, float, float]
    turn_deg: Turn
    size_mm: tuple[float, float, float]
    #: Nothing says how far in the thing lies: the place goes through.
    through: bool = False


@dataclass(frozen=True, slots=True)
class _Wall:
    axis: int
    #: The way it looks: 1 or −1 along its axis.
    looks: int
    at: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    area: float


def pockets(part: Shape, size_mm: tuple[float, float, float], turn_deg: Turn, play: float) -> list[Pocket]:
    """Return places in a part for a thing of this box: turned as said, and where there is none, along other axes."""
    for beside in (False, True):
        for turns in ((turn_deg,), _TURNS):
            found = [x for turn in turns for x in _as_turned(part, np.array(size_mm), turn, play, beside=beside)]
            if found:
                # What goes through says less than what stops the thing.
                return _apart([x for x in found if not x.through] or found)
    return []


def _as_turned(part: Shape, size: Floats, turn: Turn, play: float, *, beside: bool) -> Iterator[Pocket]:
    """Yield the places for a thing turned so; `beside`: those between two walls alone."""
    frame = place_of((0.0, 0.0, 0.0), turn)[:3, :3]
    walls = _walls(part.vertices @ frame, part.faces, float(np.sort(size)[:2].prod()) * _LEAST_WALL)
    places = (
        _open_beside(walls, size, play)
        if beside
        else itertools.chain(_boxes(walls, size, play), _bores(part, frame, size, play))
    )
    for found_at, found_size, through in places:
        x, y, z = (frame @ found_at).tolist()
        a, b, c = found_size
        yield Pocket((round(x, 3) + 0.0, round(y, 3) + 0.0, round(z, 3) + 0.0), turn, (a, b, c), through)


def _walls(vertices: Floats, faces: NDArray[np.int32], least_area: float) -> list[_Wall]:
    """Return flat faces square to an axis, each piece that hangs together."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(double, 1e-12)[:, None]
    found = []
    for axis, looks in itertools.product(range(3), (1, -1)):
        some = np.flatnonzero((normal[:, axis] * looks > _SQUARE) & (double > 1e-9))
        if not len(some):
            continue
        level = np.round(corners[some, :, axis].mean(axis=1) / 0.02).astype(np.int64)
        # Triangles hang together by common corners on one level: a corner counts once for each level.
        keys = np.stack([faces[some].ravel().astype(np.int64), np.repeat(level, 3)], axis=1)
        _, node = np.unique(keys, axis=0, return_inverse=True)
        mine = []
        for group in by_label(over_corners(node.reshape(-1, 3))):
            area = float(double[some[group]].sum()) / 2
            if area < least_area:
                continue
            points = corners[some[group]].reshape(-1, 3)
            low, high = points.min(axis=0).tolist(), points.max(axis=0).tolist()
            at = float(points[:, axis].mean())
            mine.append(_Wall(axis, looks, at, (low[0], low[1], low[2]), (high[0], high[1], high[2]), area))
        found += sorted(mine, key=lambda x: -x.area)[:_MOST_WALLS]
    return found


def _near(gap: float, wanted: float) -> bool:
    return wanted - _NARROWER_MM <= gap <= wanted * (1 + _WIDER) + _WIDER_MM


def _boxes(walls: list[_Wall], size: Floats, play: float) -> Iterator[_Found]:
    """Yield middle and size of places between walls, in the thing's frame."""
    pairs = _pairs(walls, size)
    for open_axis in range(3):
        i, j = (x for x in range(3) if x != open_axis)
        for first, second in itertools.product(pairs[i], pairs[j]):
            low, high = np.zeros(3), np.zeros(3)
            for axis, (one, other) in ((i, first), (j, second)):
                low[axis], high[axis] = one.at, other.at
            # Each pair has to stand where the other one says the place is, and both at one height.
            crossing = all(
                min(x.high[axis], high[axis]) - max(x.low[axis], low[axis]) > 0.3 * size[axis]
                for axis, pair in ((j, first), (i, second))
                for x in pair
            )
            top = min(x.high[open_axis] for x in (*first, *second))
            bottom = max(x.low[open_axis] for x in (*first, *second))
            if not crossing or top - bottom < min(1.0, 0.1 * size[open_axis]):
                continue
            middle = (low + high) / 2
            yield from _along(walls, open_axis, middle, (bottom, top), (low, high), size, play)


def _pairs(walls: list[_Wall], size: Floats) -> dict[int, list[tuple[_Wall, _Wall]]]:
    """Return by axis the walls that look at each other from about as far as the thing is wide there."""
    pairs: dict[int, list[tuple[_Wall, _Wall]]] = {0: [], 1: [], 2: []}
    for axis in range(3):
        forth = [x for x in walls if x.axis == axis and x.looks == 1]
        back = [x for x in walls if x.axis == axis and x.looks == -1]
        for one, other in itertools.product(forth, back):
            if _near(other.at - one.at, float(size[axis])) and _share(one, other, axis, size):
                pairs[axis].append((one, other))
    return pairs


def _open_beside(walls: list[_Wall], size: Floats, play: float) -> Iterator[_Found]:
    """Yield places between two walls, the thing held along the other axes by one wall at the end of both, or by none.

    It lies at the wall that stops it; where none does, along the two walls, if they are about as long as it is. Where
    nothing says how far along it lies, the place goes through.
    """
    for axis, pairs in _pairs(walls, size).items():
        for one, other in pairs:
            at, wide = np.zeros(3), np.full(3, np.inf)
            at[axis], wide[axis] = (one.at + other.at) / 2, other.at - one.at
            others = [k for k in range(3) if k != axis]
            reach = {k: (max(one.low[k], other.low[k]), min(one.high[k], other.high[k])) for k in others}
            for k in others:
                at[k] = sum(reach[k]) / 2
            middle, stopped, through = at.copy(), 0, False
            for k in others:
                stops = [x for x in walls if x.axis == k and _stops(x, middle, reach[k])]
                ways = {x.looks for x in stops}
                if len(ways) == 1:
                    nearest = min(stops, key=lambda x: abs(x.at - middle[x.axis]))
                    at[k], stopped = nearest.at + nearest.looks * (size[k] / 2 + play), stopped + 1
                elif not _near(reach[k][1] - reach[k][0], float(size[k])):
                    through = True
            if stopped:
                yield at, tuple(wide.tolist()), through


def _stops(wall: _Wall, middle: Floats, reach: tuple[float, float]) -> bool:
    """True when a wall stands at the end of two others, looking along them, and over their middle."""
    over = all(wall.low[k] < middle[k] < wall.high[k] for k in range(3) if k != wall.axis)
    return over and abs(wall.at - reach[0 if wall.looks == 1 else 1]) < _END_MM


def _share(one: _Wall, other: _Wall, axis: int, size: Floats) -> bool:
    """True when two walls stand face to face over a part of the thing."""
    return all(
        min(one.high[k], other.high[k]) - max(one.low[k], other.low[k]) > 0.1 * size[k] for k in range(3) if k != axis
    )


def _along(
    walls: list[_Wall],
    axis: int,
    middle: Floats,
    reach: tuple[float, float],
    bounds: tuple[Floats, Floats],
    size: Floats,
    play: float,
) -> Iterator[_Found]:
    """Yield the place with its floor or lid along the open axis, else as deep as its walls reach."""
    low, high = bounds
    others = [k for k in range(3) if k != axis]
    ends: dict[int, float] = {}
    for wall in walls:
        under = all(wall.low[k] < middle[k] < wall.high[k] for k in others)
        if wall.axis != axis or not under:
            continue
        # What looks up is a floor where the walls begin, what looks down a lid where they end.
        near = reach[0] if wall.looks == 1 else reach[1]
        if abs(wall.at - near) < 1.0 and (wall.looks not in ends or abs(wall.at - near) < abs(ends[wall.looks] - near)):
            ends[wall.looks] = wall.at
    at, wide = middle.copy(), (high - low).copy()
    wide[axis] = np.inf
    if len(ends) == 2:
        at[axis], wide[axis] = (ends[1] + ends[-1]) / 2, ends[-1] - ends[1]
        if wide[axis] < size[axis] - _NARROWER_MM:
            return
    elif ends:
        ((looks, end),) = ends.items()
        at[axis] = end + looks * (size[axis] / 2 + play)
    else:
        at[axis] = sum(reach) / 2
    yield at, tuple(wide.tolist()), not ends


def _bores(part: Shape, frame: Floats, size: Floats, play: float) -> Iterator[_Found]:
    """Yield middle and size of round holes that the thing could lie in."""
    holes = part.holes
    for point, normal, diameter, depth, through in zip(
        holes.point @ frame, holes.normal @ frame, holes.diameter_mm, holes.depth_mm, holes.through, strict=True
    ):
        axis = int(np.abs(normal).argmax())
        others = [k for k in range(3) if k != axis]
        across = size[others]
        # A round thing is as wide as it is thick; a box has to pass by its corners.
        wanted = float(across[0]) if abs(across[0] - across[1]) < 1e-6 else float(np.hypot(*across))
        if abs(normal[axis]) < _SQUARE or not _near(float(diameter), wanted):
            continue
        if through and normal[axis] < 0:
            # The other opening of the same hole.
            continue
        at = point - normal * (depth / 2 if through else depth - size[axis] / 2 - play)
        wide = np.full(3, float(diameter))
        wide[axis] = np.inf
        yield at, tuple(wide.tolist()), bool(through)


def _apart(found: list[Pocket]) -> list[Pocket]:
    """Return places without those that are another once more."""
    kept: list[Pocket] = []
    for each in sorted(found, key=lambda x: x.at):
        if all(np.abs(np.subtract(each.at, x.at)).max() > 1.0 or each.turn_deg != x.turn_deg for x in kept):
            kept.append(each)
    return kept
