"""Where two hole patterns meet: the rigid moves, mirrored or not, that bring holes of one onto holes of the other.

Pairs of holes are hashed by their distance and both their diameters; a pair with few look-alikes on the other
side gives the fewest guesses, so the rarest go first. Each guess is scored with a KD-tree and refitted by least
squares (Kabsch). Symmetric patterns have several equal answers: all are listed, because a part that also fits the
wrong way round is worth knowing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Pairs that guesses are drawn from; beyond it they are sampled with a fixed seed, so that answers repeat.
_MOST_PAIRS = 40_000
#: Guesses that are tried at most: bounds the work for patterns that do not meet at all.
_MOST_GUESSES = 6_000
_PROBES = 24


@dataclass(frozen=True)
class Pose:
    """`b = a @ turn.T + shift` for the holes that meet."""

    turn: Floats
    shift: Floats
    mirrored: bool
    #: Indices of holes that meet, side by side.
    a: Ints
    b: Ints
    #: Distance of each pair's centres after the best fit, mm.
    off_mm: Floats

    @property
    def count(self) -> int:
        """How many holes meet."""
        return len(self.a)


@dataclass(frozen=True)
class Meeting:
    """All best poses, the closest fit first, and how many holes the best other pose would bring together."""

    poses: tuple[Pose, ...]
    runner_up: int

    @property
    def count(self) -> int:
        """How many holes meet in the best pose."""
        return self.poses[0].count if self.poses else 0


def match_patterns(
    a: Floats,
    b: Floats,
    a_size: Floats | None = None,
    b_size: Floats | None = None,
    *,
    tolerance_mm: float = 0.3,
    mirrors: Sequence[bool] = (False, True),
    size_pairs_match: bool = True,
) -> Meeting:
    """Return how two patterns of hole centres, (n, 2) and (m, 2) in mm, come together.

    `a_size`, `b_size`: diameters; with `size_pairs_match` only holes of one size meet (else sizes are ignored).
    One hole alone meets one hole in no particular pose, so patterns of fewer than two holes give nothing.
    """
    a, b = np.asarray(a, np.float64), np.asarray(b, np.float64)
    if len(a) > len(b):
        # Guesses must come from the smaller side, or a subset's symmetric poses are missed.
        turned = match_patterns(
            b, a, b_size, a_size, tolerance_mm=tolerance_mm, mirrors=mirrors, size_pairs_match=size_pairs_match
        )
        return Meeting(tuple(_inverse(x) for x in turned.poses), turned.runner_up)
    sizes = size_pairs_match and a_size is not None and b_size is not None
    da = np.round(np.asarray(a_size), 3) if sizes else np.zeros(len(a))
    db = np.round(np.asarray(b_size), 3) if sizes else np.zeros(len(b))
    if len(a) < 2 or len(b) < 2:
        return Meeting((), 0)
    return _Search(a, b, da, db, tolerance_mm, tuple(mirrors)).run()


def _inverse(pose: Pose) -> Pose:
    turn = pose.turn.T
    return Pose(turn, -turn @ pose.shift, pose.mirrored, pose.b, pose.a, pose.off_mm)


def fit(a: Floats, b: Floats, mirrored: bool) -> tuple[Floats, Floats]:
    """Return turn and shift that bring points `a` onto `b` with the least sum of squares (Kabsch)."""
    middle_a, middle_b = a.mean(axis=0), b.mean(axis=0)
    u, _, vt = np.linalg.svd((a - middle_a).T @ (b - middle_b))
    sign = np.ones(a.shape[1])
    sign[-1] = np.sign(np.linalg.det(u @ vt)) * (-1 if mirrored else 1)
    turn = (u * sign @ vt).T
    return turn, middle_b - turn @ middle_a


def _pairs(points: Floats, seed: int) -> tuple[Ints, Ints, Floats]:
    n = len(points)
    if n * (n - 1) // 2 <= _MOST_PAIRS * 4:
        i, j = (x.astype(np.int64) for x in np.triu_indices(n, 1))
    else:
        random = np.random.default_rng(seed)
        i, j = random.integers(0, n, (2, _MOST_PAIRS * 4))
        i, j = i[i != j], j[i != j]
    return i, j, np.linalg.norm(points[i] - points[j], axis=1)


class _Search:
    """One search for poses."""

    def __init__(
        self, a: Floats, b: Floats, da: Floats, db: Floats, tolerance: float, mirrors: tuple[bool, ...]
    ) -> None:
        self.a, self.b, self.da, self.db = a, b, da, db
        self.tolerance, self.mirrors = tolerance, mirrors
        self.tree = cKDTree(b)
        self.probe = np.random.default_rng(0).permutation(len(a))[:_PROBES]
        self.poses: list[Pose] = []
        self.best = 0
        self.guesses = 0

    def run(self) -> Meeting:
        ai, aj, al = _pairs(self.a, 1)
        bi, bj, bl = _pairs(self.b, 2)
        # Two lengths are alike when each end may be off by the tolerance; sizes are alike when equal.
        scale = 1.0 / (2 * self.tolerance)
        size_a, size_b = self._keys(self.da, ai, aj), self._keys(self.db, bi, bj)
        tree = cKDTree(np.column_stack([bl * scale, size_b]))
        span = float(np.ptp(self.a, axis=0).max())
        # Long pairs fix the turn best.
        chosen = np.flatnonzero(al > 0.3 * span)
        chosen = np.random.default_rng(3).permutation(chosen)[:400]
        keys = np.column_stack([al * scale, size_a])
        alike = np.asarray(tree.query_ball_point(keys[chosen], 1.0, p=np.inf, return_length=True))
        chosen = chosen[alike > 0][np.argsort(alike[alike > 0], kind="stable")]
        for pair in chosen:
            self._try_pair(int(ai[pair]), int(aj[pair]), tree.query_ball_point(keys[pair], 1.0, p=np.inf), bi, bj)
            if self.guesses > _MOST_GUESSES or self.best >= len(self.a):
                break
        self._twins(chosen, ai, aj, keys, tree, bi, bj)
        top = sorted((x for x in self.poses if x.count == self.best), key=lambda x: float(x.off_mm.max()))
        others = [x.count for x in self.poses if x.count < self.best]
        return Meeting(tuple(top), max(others, default=0))

    def _keys(self, sizes: Floats, i: Ints, j: Ints) -> Floats:
        """Return both sizes of each pair, spread so far that unlike ones never count as near."""
        low, high = np.minimum(sizes[i], sizes[j]), np.maximum(sizes[i], sizes[j])
        return np.column_stack([low, high]) * 4000.0

    def _twins(self, chosen: Ints, ai: Ints, aj: Ints, keys: Floats, tree: cKDTree, bi: Ints, bj: Ints) -> None:
        """Try every look-alike of two pairs that do meet: that lists the symmetric poses too."""
        if not self.poses:
            return
        meets = np.zeros(len(self.a), bool)
        meets[max(self.poses, key=lambda x: x.count).a] = True
        self.guesses = 0
        for pair in [x for x in chosen if meets[ai[x]] and meets[aj[x]]][:2]:
            self._try_pair(int(ai[pair]), int(aj[pair]), tree.query_ball_point(keys[pair], 1.0, p=np.inf), bi, bj)

    def _try_pair(self, i: int, j: int, others: list[int], bi: Ints, bj: Ints) -> None:
        """Lay a pair of holes on each that is as long, either way round: all at once, only the hopeful ones closely."""
        ends = np.column_stack([bi[others], bj[others]])
        u, v = ends.ravel(), ends[:, ::-1].ravel()
        same = (self.da[i] == self.db[u]) & (self.da[j] == self.db[v])
        side = np.where(self.mirrors, -1.0, 1.0)
        u, v = (np.repeat(x[same], len(side)) for x in (u, v))
        room = max(0, _MOST_GUESSES - self.guesses)
        self.guesses += len(u)
        u, v, side = u[:room], v[:room], np.tile(side, int(same.sum()))[:room]
        if not len(u):
            return
        from_a, to_b = self.a[j] - self.a[i], self.b[v] - self.b[u]
        angle = np.arctan2(to_b[:, 1], to_b[:, 0]) - side * np.arctan2(from_a[1], from_a[0])
        c, s = np.cos(angle), np.sin(angle)
        turns = np.stack([c, -s * side, s, c * side], axis=-1).reshape(-1, 2, 2)
        shifts = (self.b[u] + self.b[v]) / 2 - turns @ ((self.a[i] + self.a[j]) / 2)
        probes = np.einsum("pk,mlk->mpl", self.a[self.probe], turns) + shifts[:, None]
        near, _ = self.tree.query(probes.reshape(-1, 2), distance_upper_bound=3 * self.tolerance)
        hits = np.isfinite(near).reshape(len(u), -1).sum(axis=1)
        for guess in np.flatnonzero(hits >= 2).tolist():
            if hits[guess] >= 0.5 * self.best / len(self.a) * len(self.probe):
                self._refine(turns[guess], shifts[guess], bool(side[guess] < 0))

    def _refine(self, turn: Floats, shift: Floats, mirrored: bool) -> None:
        """Fit a guess to the holes that it brings near, and keep it where it brings enough together."""
        a, b, _ = self._assign(turn, shift, 3 * self.tolerance)
        if len(a) < max(2, 0.6 * self.best):
            return
        off = np.empty(0)
        for _ in range(3):
            turn, shift = fit(self.a[a], self.b[b], mirrored)
            a, b, off = self._assign(turn, shift, self.tolerance)
            if len(a) < 2:
                return
        self._keep(Pose(turn, shift, mirrored, a, b, off))

    def _assign(self, turn: Floats, shift: Floats, reach: float) -> tuple[Ints, Ints, Floats]:
        """Return pairs of holes within reach, each hole once, nearest first."""
        near = min(3, len(self.b))
        found, which = self.tree.query(self.a @ turn.T + shift, k=near, distance_upper_bound=reach)
        distance, index = np.reshape(found, (len(self.a), -1)), np.reshape(which, (len(self.a), -1))
        i, k = np.nonzero(np.isfinite(distance))
        j, d = index[i, k], distance[i, k]
        same = self.da[i] == self.db[j]
        i, j, d = i[same], j[same], d[same]
        order = np.argsort(d, kind="stable")
        i, j, d = i[order], j[order], d[order]
        _, first = np.unique(i, return_index=True)
        first.sort()
        i, j, d = i[first], j[first], d[first]
        _, first = np.unique(j, return_index=True)
        first.sort()
        return i[first].astype(np.int64), j[first].astype(np.int64), d[first]

    def _keep(self, pose: Pose) -> None:
        self.best = max(self.best, pose.count)
        middle = self.a.mean(axis=0)
        for known in self.poses:
            moved = np.linalg.norm(pose.turn @ middle + pose.shift - known.turn @ middle - known.shift)
            if np.linalg.norm(pose.turn - known.turn) < 1e-2 and moved < 2 * self.tolerance:
                return
        self.poses.append(pose)
