"""Hollows that powder cannot get out of: air that lies behind an opening narrower than a ball."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import OUTSIDE, balls
from lintsvc.measure.escape_flood import fill, find_ways_out
from lintsvc.measure.mesh import Floats, Mesh, point3
from lintsvc.measure.nearest import nearest
from lintsvc.measure.rays import first_hits
from lintsvc.measure.sampling import spread_by_area
from lintsvc.measure.shells import Shells
from lintsvc.measure.solids import Solids
from lintsvc.model.finding import Where

#: Cells of the grid are this share of the ball's diameter wide; wider on a part that would need more than _CELLS.
_CELL = 0.16
_CELLS = 3_000_000
#: Finer grids than this are no help: an opening of a few tenths is sintered shut.
_FINEST = 0.12
#: A hollow is at least so many times as wide as its opening: a plain blind hole is none.
_BULGE = 1.25
#: So many hollows are told.
_MOST = 30
#: Points from which the open air is looked for.
_LOOKS = 4000

#: The way through an opening is followed so many cells to both sides; the freest of so many directions is tried, too.
_REACH = 2.5
_WAYS = 200
#: The grid's steps may cut a corner: so much of what got through on it gets through.
_GOT_THROUGH = 0.98
#: The middle of the way is no farther from a cell's middle than half the cell's diagonal, and a ball twice that wider.
_BETWEEN = 1.8


@dataclass(frozen=True, eq=False)
class Hollow:
    """Air behind a narrow opening. `opening_mm`: the largest ball that gets out. `volume_mm3`: of the air
    behind it. `faces`: those that it lies against."""

    opening_mm: float
    volume_mm3: float
    door: Floats
    middle: Floats
    box: tuple[Floats, Floats]
    faces: NDArray[np.int64]

    def where(self) -> Where:
        """The place as a finding shows it: the opening, with a line to the middle of the hollow, and its walls."""
        door, middle = point3(self.door), point3(self.middle)
        box = (point3(self.box[0]), point3(self.box[1]))
        return Where(point=door, box=box, faces=tuple(self.faces.tolist()), lines=((door, middle),))


@dataclass(frozen=True, eq=False)
class _Skin:
    """Points of the surface, with the way out into the air (n, 3), and the faces that they are on (n,)."""

    points: Floats
    normals: Floats
    face: NDArray[np.int32]

    @classmethod
    def of(cls, mesh: Mesh) -> _Skin:
        """The middle of every face, and more points on large ones."""
        points, face = spread_by_area(mesh, float(np.sqrt(mesh.areas.sum() / _LOOKS)))
        whole = np.flatnonzero(mesh.normals.any(axis=1)).astype(np.int32)
        middles = mesh.vertices[mesh.faces[whole]].mean(axis=1)
        face = np.concatenate([whole, face])
        return cls(np.concatenate([middles, points]), mesh.normals[face], face)

    def against(
        self, low: Floats, cell: float, of_cell: NDArray[np.integer[Any]]
    ) -> tuple[NDArray[np.int_], NDArray[np.int32]]:
        """What of a grid the air just before each point is in, -1 beyond the grid; and the points' faces."""
        cells = np.floor((self.points + cell * self.normals - low) / cell).astype(int)
        within = ((cells >= 0) & (cells < of_cell.shape)).all(axis=1)
        found = np.full(len(cells), -1)
        found[within] = of_cell[tuple(cells[within].T)]
        return found, self.face


def find_hollows(mesh: Mesh, shells: Shells, solids: Solids, ball_mm: float, least_mm3: float) -> list[Hollow]:
    """Return the hollows of at least `least_mm3` that a ball of `ball_mm` fits into and cannot leave, largest first.

    Closed voids are not among them.
    """
    if not len(mesh):
        return []
    seeds = _shut_in(mesh, solids, ball_mm)
    # Where bodies touch or overlap, what is outside the one may be inside the other.
    seeds = seeds[shells.winding(seeds) == 0]
    if not len(seeds):
        return []
    low, high = mesh.box
    low, high = low - ball_mm, high + ball_mm
    cell = max(_CELL * ball_mm, float(np.cbrt(np.prod(high - low) / _CELLS)))
    found = _search(mesh, _Skin.of(mesh), low, high, cell, seeds, ball_mm)
    hollows = [x for x in found if x.opening_mm < ball_mm and x.volume_mm3 >= least_mm3]
    return sorted(hollows, key=lambda x: -x.volume_mm3)


def _search(
    mesh: Mesh, skin: _Skin, low: Floats, high: Floats, cell: float, seeds: Floats, ball_mm: float
) -> list[Hollow]:
    """Find the hollows around the seeds in a box, on a grid, and on finer ones where no way out shows."""
    shape = np.ceil((high - low) / cell).astype(int) + 1
    most = 0.5 * _BULGE * ball_mm * 1.1 + cell
    cells = np.clip(((seeds - low) / cell).astype(int), 0, shape - 1)
    flood = _Flood.of(mesh, low, shape, cell, most)
    of_seed, doors, peaks = flood.ways_out(np.ravel_multi_index(tuple(cells.T), tuple(shape)))
    behind = np.bincount(of_seed[of_seed > 0], minlength=len(doors))
    # Those with the most of the surface around them, where a lattice has more than anybody reads.
    chosen = np.argsort(-behind, kind="stable")[: min(_MOST, np.count_nonzero(behind))].tolist()
    members = {i: flood.fill(int(peaks[i])) for i in chosen}
    against, face = skin.against(low, cell, flood.label.reshape(shape))
    hollows = []
    for i in chosen:
        spots = _centres(low, shape, cell, members[i])
        middle = _centre(low, shape, cell, int(peaks[i]))
        box = (spots.min(axis=0), spots.max(axis=0))
        faces = np.unique(face[against == i]).astype(np.int64)
        found = Hollow(0.0, len(spots) * cell**3, middle, middle, box, faces)
        if doors[i] < 0:
            hollows += _closer(mesh, skin, found, cell, seeds[of_seed == i], ball_mm)
            continue
        opening, place = _throat(mesh, low, shape, cell, int(doors[i]), int(peaks[i]))
        if 2 * flood.clear[peaks[i]] > _BULGE * opening:
            hollows.append(replace(found, opening_mm=opening, door=place))
    return hollows


@dataclass(frozen=True, eq=False)
class _Flood:
    """A grid of clearances, measured where a way out of a hollow needs them. `label`: the hollow of each cell."""

    grid: tuple[float, ...]
    tree: tuple[NDArray[Any], ...]
    spare: tuple[NDArray[Any], ...]
    clear: NDArray[np.float32]
    label: NDArray[np.int32]
    known: NDArray[np.int64]

    @classmethod
    def of(cls, mesh: Mesh, low: Floats, shape: NDArray[np.int_], cell: float, most: float) -> _Flood:
        bvh = mesh.bvh
        tree = (bvh.boxes, bvh.child, bvh.count, bvh.corners, bvh.order)
        # Room for what `nearest` is told and tells of one point.
        spare = (np.empty((1, 3)), np.empty(1), np.zeros(1), np.empty(1), np.empty((1, 3)), np.empty(1, np.int32))
        grid = (*shape.tolist(), *low.tolist(), float(cell), float(most))
        # Memory of zeros costs nothing where nothing is written.
        total = int(np.prod(shape))
        empty = (np.zeros(total, np.float32), np.zeros(total, np.int32), np.zeros(total, np.int64))
        return cls(grid, tuple(np.require(x, None, ["C", "W"]) for x in tree), spare, *empty)

    def ways_out(self, cells: NDArray[np.intp]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """The hollow of each cell; and each hollow's door, -1 for none, and its widest cell."""
        once, which = np.unique(cells, return_inverse=True)
        labels, doors, peaks = find_ways_out(self.grid, self.tree, self.spare, self.clear, self.label, self.known, once)
        return labels[which], doors, peaks

    def fill(self, start: int) -> NDArray[np.int64]:
        """All cells of a hollow."""
        cells: NDArray[np.int64] = fill(self.grid, self.tree, self.spare, self.clear, self.label, start)
        return cells


def _closer(mesh: Mesh, skin: _Skin, found: Hollow, cell: float, seeds: Floats, ball_mm: float) -> list[Hollow]:
    """Search a hollow without a visible way out again on a finer grid, down to _FINEST."""
    margin = 2 * ball_mm
    low, high = found.box[0] - margin, found.box[1] + margin
    finer = max(cell / 3, float(np.cbrt(np.prod(high - low) / _CELLS)))
    if finer < _FINEST or finer > cell / 1.2:
        # Whatever opening there is, is narrower than two cells.
        return [replace(found, opening_mm=2 * cell)]
    return _search(mesh, skin, low, high, finer, seeds, ball_mm)


def _shut_in(mesh: Mesh, solids: Solids, ball_mm: float) -> Floats:
    """Middles of balls that fit beside the surface and from which no straight way leads out; not in closed voids."""
    points, face = spread_by_area(mesh, max(0.5, float(np.sqrt(mesh.areas.sum() / _LOOKS))))
    open_air = ~solids.in_void[face]
    points, face = points[open_air], face[open_air]
    normal = mesh.normals[face]
    fits = balls(mesh.bvh, points, normal, ball_mm, OUTSIDE, opposed=1.0).face < 0
    start = points[fits] + normal[fits] * (ball_mm / 2)
    ways = np.array([(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)])
    ways = ways / np.linalg.norm(ways, axis=1)[:, None]
    shut = np.ones(len(start), bool)
    for way in ways:
        left = np.flatnonzero(shut)
        shut[left[np.isinf(first_hits(mesh.bvh, start[left], np.broadcast_to(way, (len(left), 3)))[0])]] = False
    return start[shut]


def _centre(low: Floats, shape: NDArray[np.int_], cell: float, number: int) -> Floats:
    centre: Floats = _centres(low, shape, cell, np.array([number]))[0]
    return centre


def _centres(low: Floats, shape: NDArray[np.int_], cell: float, numbers: NDArray[np.intp]) -> Floats:
    centres: Floats = low + (np.stack(np.unravel_index(numbers, tuple(shape)), axis=1) + 0.5) * cell
    return centres


def _freest(mesh: Mesh, start: Floats) -> Floats:
    """The way through a place that is free farthest to both sides."""
    number = np.arange(_WAYS)
    height = (number + 0.5) / _WAYS
    turn = number * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - height**2)
    ways = np.stack([flat * np.cos(turn), flat * np.sin(turn), height], axis=1)
    both = np.concatenate([-ways, ways])
    free = first_hits(mesh.bvh, np.broadcast_to(start, both.shape).copy(), both)[0].reshape(2, -1)
    freest: Floats = ways[np.minimum(free.min(axis=0), mesh.size).argmax()]
    return freest


def _throat(
    mesh: Mesh, low: Floats, shape: NDArray[np.int_], cell: float, door: int, peak: int
) -> tuple[float, Floats]:
    """The narrowest place of the way through the door: its width and where it is.

    At each step along the way the ball is moved across it to where it is widest; the least of these widest balls is
    what gets through. The way may run toward the hollow's middle, or, in a bent channel, along the channel.
    """
    start = _centre(low, shape, cell, door)
    found = nearest(mesh.bvh, start[None], np.array([mesh.size]))
    # The way through runs across the direction of the nearest wall, toward the hollow.
    wall = start - found.place[0]
    wall /= max(float(np.linalg.norm(wall)), 1e-12)
    inward = _centre(low, shape, cell, peak) - start
    axis = inward - (inward @ wall) * wall
    if np.linalg.norm(axis) < 1e-9:
        axis = np.cross(wall, np.eye(3)[np.abs(wall).argmin()])
    axis /= np.linalg.norm(axis)
    # The ball that got through on the grid gets through, and none that is wider by more than the grid's cells: an axis
    # by which it is otherwise runs into a wall or leaves the way. Of the others the straightest along it reads most.
    through = float(found.distance[0])
    tried = [_narrowest(mesh, start, through, cell, x) for x in (axis, _freest(mesh, start))]
    real = [x for x in tried if _GOT_THROUGH * 2 * through <= x[0] <= 2 * through + _BETWEEN * cell]
    return max(real, key=lambda x: x[0]) if real else (2 * through, start)


def _narrowest(mesh: Mesh, start: Floats, radius: float, cell: float, axis: Floats) -> tuple[float, Floats]:
    """The width of the least of the widest balls in planes across an axis, and where it is; a ball of the radius gets
    through at the start."""
    back, ahead = first_hits(mesh.bvh, np.stack([start, start]), np.stack([-axis, axis]))[0]
    across = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
    across /= np.linalg.norm(across)
    beside = np.cross(axis, across)
    steps = np.linspace(-_REACH, _REACH, 21) * cell
    # Where the way bends, its straight piece ends at a wall: the ball turns off before it.
    steps = steps[(np.abs(steps) < 1e-9) | ((steps > radius - back) & (steps < ahead - radius))]
    points = start + steps[:, None] * axis
    turns = np.arange(8) * np.pi / 4
    ways = np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * beside
    best = nearest(mesh.bvh, points, np.full(len(points), mesh.size)).distance
    for size in cell * np.array([1.0, 0.7, 0.5, 0.35, 0.25, 0.18, 0.12, 0.08, 0.05, 0.03, 0.02, 0.01]):
        for _ in range(3):
            tried = points[:, None] + size * ways
            # From so near nothing is farther.
            within = np.repeat(best + 1.001 * size, 8)
            free = nearest(mesh.bvh, tried.reshape(-1, 3), within).distance.reshape(-1, 8)
            k = free.argmax(axis=1)
            row = np.arange(len(points))
            better = free[row, k] > best
            points = np.where(better[:, None], tried[row, k], points)
            best = np.where(better, free[row, k], best)
    # Along a straight way it is as narrow anywhere: the place that was begun from, then.
    least = float(best.min())
    place = int(np.where(best < 1.001 * least, np.abs(steps), np.inf).argmin())
    return 2 * least, points[place]
