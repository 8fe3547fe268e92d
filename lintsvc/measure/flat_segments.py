"""Straight pieces of all curves, and a search for pairs of them that come near each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_curves import ARC, CIRCLE, Curves
from lintsvc.measure.flat_weld import Floats, Ints, components
from lintsvc.model.part import NotMeasurable

if TYPE_CHECKING:
    import shapely

#: An array of shapely geometries.
Boxes = NDArray[np.object_]
#: Pairs looked at in one go: bounds memory to some 100 MB.
_PAIRS_AT_ONCE = 500_000
#: Pairs looked at in all, and besides for each piece: where pieces should only meet end to end there
#: are a few, in a search around them some dozens; more mean a tangle.
_PAIRS_MOST = 2_000_000
_PAIRS_MEETING = 12
_PAIRS_AROUND = 100


class TooTangled(NotMeasurable):
    """So many pieces lie near each other that looking at all pairs would take too long."""


@dataclass(frozen=True, eq=False)
class Segments:
    """Straight pieces: from `a` (m, 2) to `b` (m, 2), of `curve` (m,).

    `tail` and `head` (m,) are labels of their ends: pieces that meet end to end share one.
    """

    a: Floats
    b: Floats
    curve: Ints
    tail: Ints
    head: Ints

    def __len__(self) -> int:
        return len(self.curve)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """Search tree over the pieces."""
        import shapely

        return shapely.STRtree(np.asarray(shapely.linestrings(np.stack([self.a, self.b], axis=1))))

    def boxes(self, grown_mm: float = 0.0) -> Boxes:
        """Return shapely boxes around the pieces, grown on all sides."""
        import shapely

        low, high = np.minimum(self.a, self.b) - grown_mm, np.maximum(self.a, self.b) + grown_mm
        return np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))

    def near_pairs(self, distance_mm: float) -> Iterator[tuple[Ints, Ints]]:
        """Yield (i, j), i < j, numbers of pieces whose boxes come within a distance, in batches."""
        each = _PAIRS_AROUND if distance_mm > 0 else _PAIRS_MEETING
        for who, other in box_pairs(self.tree, self.boxes(distance_mm), each):
            later = other > who
            yield who[later], other[later]


def box_pairs(tree: shapely.STRtree, boxes: Boxes, each: int = _PAIRS_AROUND) -> Iterator[tuple[Ints, Ints]]:
    """Yield (number of box, number in tree) whose boxes meet, in batches of bounded size.

    Raises TooTangled once there are far more pairs than a drawing of a part has.
    """
    budget = _PAIRS_MOST + each * len(boxes)
    at, step = 0, 16
    while at < len(boxes):
        who, found = tree.query(boxes[at : at + step])
        budget -= len(who)
        if budget < 0:
            raise TooTangled(f"more than {len(boxes):,} pieces of line lie over and beside each other")
        yield who + at, found
        at += step
        step = min(4 * step, max(16, int(_PAIRS_AT_ONCE * step / max(1, len(who)))))


def segments_of(curves: Curves, kept: Ints, nodes: Ints) -> Segments:
    """Return the pieces of the curves `kept`, circles left aside. `nodes` (k, 2): labels of curves' ends."""
    count = len(curves.points)
    owner = np.repeat(np.arange(len(curves)), np.diff(curves.offset))
    label = int(nodes.max(initial=0)) + 1 + np.arange(count)
    runs = np.flatnonzero(curves.kind != CIRCLE)
    label[curves.offset[:-1][runs]] = nodes[runs, 0]
    label[curves.offset[1:][runs] - 1] = nodes[runs, 1]
    wanted = np.zeros(len(curves), bool)
    wanted[kept] = True
    start = np.flatnonzero((owner[1:] == owner[:-1]) & wanted[owner[:-1]]) if count else np.zeros(0, np.int64)
    a, b = curves.points[start], curves.points[start + 1]
    length = np.hypot(*(b - a).T)
    slack = curves.same_mm + np.where(curves.kind[owner[start]] == ARC, curves.chord_mm, 0.0)
    tail, head = _over_short_steps(label[start], label[start + 1], length <= 3 * slack)
    long = length > 0
    return Segments(a[long], b[long], owner[start][long], tail[long], head[long])


def _over_short_steps(tail: Ints, head: Ints, short: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Give both ends of very short pieces one label: their neighbours lie within tolerance of each other by nature."""
    names, seat = np.unique(np.concatenate([tail[short], head[short]]), return_inverse=True)
    if not len(names):
        return tail, head
    group, _ = components(len(names), seat.reshape(2, -1).T)
    least = np.full(len(names), np.iinfo(np.int64).max)
    np.minimum.at(least, group, names)
    instead = np.arange(max(int(tail.max()), int(head.max())) + 1)
    instead[names] = least[group]
    return instead[tail], instead[head]


def distance_to_segments(points: Floats, a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return (distance, share along the segment 0 to 1) of (n, 2) points to segments, one to one."""
    along = b - a
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    share = np.clip(((points - a) * along).sum(axis=1) / square, 0.0, 1.0)
    return np.hypot(*(points - a - share[:, None] * along).T), share
