"""Curves end to end: closed loops, open chains, and the tangles where more than two ends meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_curves import CIRCLE, Curves
from lintsvc.measure.flat_weld import Floats, Ints

#: Rounds of matching nearest ends; what is left after them has no partner of its own.
_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Gap:
    """Two ends that do not meet. `curves`: whose ends they are."""

    start: tuple[float, float]
    end: tuple[float, float]
    width_mm: float
    curves: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of curves, one after the other. Run r has curve[offset[r]:offset[r + 1]], drawn forward or not."""

    curve: Ints
    forward: NDArray[np.bool_]
    offset: Ints

    def __len__(self) -> int:
        return len(self.offset) - 1

    def curves_of(self, run: int) -> Ints:
        """Return the curve numbers of a run."""
        return self.curve[self.offset[run] : self.offset[run + 1]]


@dataclass(frozen=True, eq=False)
class Chains:
    """What the curves make, circles left aside.

    `loops` close, `open_runs` have two ends, `tangled` are curves that hang on a node where more than two
    ends meet. `gaps`: ends that were joined. `specks`: curves too short to be any. `nodes` (k, 2): where
    each curve ends, after joining.
    """

    loops: Runs
    open_runs: Runs
    tangled: Ints
    gaps: tuple[Gap, ...]
    specks: Ints
    nodes: Ints


def chains_of(curves: Curves, kept: Ints, ends: Ints) -> Chains:
    """Return loops, open chains and tangles of the curves `kept`, gaps within the tolerance joined.

    `ends` (k, 2): welded nodes of all curves' ends.
    """
    curve = kept[curves.kind[kept] != CIRCLE]
    tiny = _lengths(curves, curve) <= 2 * curves.same_mm
    closed = (ends[curve, 0] == ends[curve, 1]) & ~tiny
    rest = curve[~closed & ~tiny]
    loops, open_runs, tangled = _walk(rest, ends)
    nodes, gaps = _join(curves, rest, ends, open_runs)
    if gaps:
        loops, open_runs, tangled = _walk(rest, nodes)
    # A curve that closes by itself is its own loop, whoever touches its seam.
    alone = [[(int(x), True)] for x in curve[closed]]
    return Chains(_runs(alone + loops), _runs(open_runs), np.array(tangled, np.int64), gaps, curve[tiny], nodes)


_Steps = list[tuple[int, bool]]


def _walk(curve: Ints, nodes: Ints) -> tuple[list[_Steps], list[_Steps], list[int]]:
    """Follow curves from node to node. Half-edge 2 i + s is the end s of curve[i]."""
    flat = nodes[curve].ravel()
    degree = np.bincount(flat) if len(flat) else np.zeros(0, np.int64)
    order = np.argsort(flat, kind="stable")
    mate = np.full(len(flat), -1, np.int64)
    # Ends that share a node with exactly one other stand in twos in this order.
    twos = order[degree[flat[order]] == 2].reshape(-1, 2)
    mate[twos[:, 0]], mate[twos[:, 1]] = twos[:, 1], twos[:, 0]
    next_half = mate.tolist()
    numbers = curve.tolist()
    crowded = (degree[flat] > 2).tolist()
    seen = [False] * len(numbers)
    loops: list[_Steps] = []
    open_runs: list[_Steps] = []
    tangled: list[int] = []

    def follow(half: int) -> tuple[_Steps, int]:
        """Return the steps from this end on, and the end they stop at; -1 where they come back."""
        first, steps = half, []
        while True:
            seen[half >> 1] = True
            steps.append((numbers[half >> 1], not half & 1))
            after = next_half[half ^ 1]
            if after < 0:
                return steps, half ^ 1
            if after == first:
                return steps, -1
            half = after

    for half in np.flatnonzero(mate < 0).tolist():
        if not seen[half >> 1]:
            steps, stop = follow(half)
            if crowded[half] or crowded[stop]:
                tangled += [number for number, _ in steps]
            else:
                open_runs.append(steps)
    for i, done in enumerate(seen):
        if not done:
            loops.append(follow(2 * i)[0])
    return loops, open_runs, tangled


def _runs(found: list[_Steps]) -> Runs:
    counts = [len(x) for x in found]
    steps = [step for run in found for step in run]
    return Runs(
        np.array([x for x, _ in steps], np.int64),
        np.array([x for _, x in steps], bool),
        np.concatenate([[0], np.cumsum(counts, dtype=np.int64)]).astype(np.int64),
    )


def _lengths(curves: Curves, which: Ints) -> Floats:
    """Return the drawn length of curves, never more than exact up to a speck's size."""
    step = np.hypot(*np.diff(curves.points, axis=0).T) if len(curves.points) else np.zeros(0)
    total = np.concatenate([[0.0], np.cumsum(np.append(step, 0.0))])
    return np.asarray(total[curves.offset[which + 1] - 1] - total[curves.offset[which]], float)


def end_points(curves: Curves) -> Floats:
    """Return (k, 2, 2) where each curve starts and ends; a circle starts and ends at its centre."""
    ends = np.repeat(curves.centre[:, None, :], 2, axis=1)
    runs = curves.kind != CIRCLE
    ends[runs, 0] = curves.points[curves.offset[:-1][runs]]
    ends[runs, 1] = curves.points[curves.offset[1:][runs] - 1]
    return ends


def _join(curves: Curves, curve: Ints, nodes: Ints, open_runs: list[_Steps]) -> tuple[Ints, tuple[Gap, ...]]:
    """Unite the nodes of loose ends that are each other's nearest and close enough."""
    flat = nodes[curve].ravel()
    lone = np.flatnonzero(np.bincount(flat)[flat] == 1) if len(flat) else np.zeros(0, np.int64)
    if len(lone) < 2:
        return nodes, ()
    place = end_points(curves)[curve].reshape(-1, 2)
    length = dict(zip(curve.tolist(), _lengths(curves, curve).tolist(), strict=True))
    # The other end of a chain, and how long the way there is: a chain shorter than its gap is no loop.
    far: dict[int, tuple[int, float]] = {}
    for run in open_runs:
        way = sum(length[x] for x, _ in run)
        a, b = nodes[run[0][0], 1 - run[0][1]], nodes[run[-1][0], int(run[-1][1])]
        far[int(a)], far[int(b)] = (int(b), way), (int(a), way)
    instead = np.arange(int(nodes.max()) + 1)
    gaps = []
    for one, other in nearest_pairs(place[lone], curves.join_mm):
        h, g = int(lone[one]), int(lone[other])
        width = float(np.hypot(*(place[h] - place[g])))
        end, way = far.get(int(flat[h]), (-1, 0.0))
        if end == flat[g] and way <= 4 * width:
            continue
        instead[flat[g]] = flat[h]
        c, d = int(curve[h >> 1]), int(curve[g >> 1])
        start, stop = place[h].tolist(), place[g].tolist()
        gaps.append(Gap((start[0], start[1]), (stop[0], stop[1]), width, (c, d)))
    return instead[nodes], tuple(gaps)


def joints(curves: Curves, loops: Runs, said_mm: float) -> list[Gap]:
    """Return where following curves of a loop miss each other by more than `said_mm`."""
    if not len(loops.curve):
        return []
    ends = end_points(curves)[loops.curve]
    leave = np.where(loops.forward[:, None], ends[:, 1], ends[:, 0])
    arrive = np.where(loops.forward[:, None], ends[:, 0], ends[:, 1])
    after = np.arange(1, len(loops.curve) + 1)
    after[loops.offset[1:] - 1] = loops.offset[:-1]
    width = np.hypot(*(arrive[after] - leave).T)
    gaps = []
    for k in np.flatnonzero(width > said_mm).tolist():
        start, stop, c, d = leave[k].tolist(), arrive[after[k]].tolist(), loops.curve[k], loops.curve[after[k]]
        gaps.append(Gap((start[0], start[1]), (stop[0], stop[1]), float(width[k]), (int(c), int(d))))
    return gaps


def nearest_pairs(points: Floats, within: float) -> list[tuple[int, int]]:
    """Return pairs of (n, 2) points that are each other's nearest among those not yet paired, closest first."""
    # Only drawings with loose ends pay for the import.
    from scipy.spatial import cKDTree

    left = np.arange(len(points))
    pairs: list[tuple[int, int]] = []
    for _ in range(_ROUNDS):
        if len(left) < 2:
            break
        found = cKDTree(points[left]).query(points[left], k=2, distance_upper_bound=within)
        far, near = np.asarray(found[0]), np.asarray(found[1])
        me = np.arange(len(left))
        # A point finds itself too, first or, among points in one place, second.
        own = near[:, 0] == me
        nearest = np.where(own, near[:, 1], near[:, 0])
        nearest[~np.isfinite(np.where(own, far[:, 1], far[:, 0]))] = -1
        mutual = np.flatnonzero((nearest > me) & (nearest[nearest] == me))
        if not len(mutual):
            break
        pairs += zip(left[mutual].tolist(), left[nearest[mutual]].tolist(), strict=True)
        left = np.delete(left, np.concatenate([mutual, nearest[mutual]]))
    span = [float(np.hypot(*(points[a] - points[b]))) for a, b in pairs]
    return [pair for _, pair in sorted(zip(span, pairs, strict=True))]
