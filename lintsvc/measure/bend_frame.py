"""A flat seen along a bend line: where the sheet is at a given distance beside the line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.sheet import Point2

Floats = NDArray[np.float64]
Span = tuple[float, float]


def edges_of(rings: Sequence[Floats]) -> Floats:
    """Return the (m, 4) straight edges x1, y1, x2, y2 of closed rings of (n, 2) points, the first not repeated."""
    if not rings:
        return np.zeros((0, 4))
    return np.vstack([np.hstack([ring, np.roll(ring, -1, axis=0)]) for ring in rings])


@dataclass(frozen=True, eq=False)
class Frame:
    """Axes of a bend line: x runs along it from its start, y to its left. `edges` (m, 4) are the sheet's."""

    origin: Point2
    #: Direction of the line, of length 1.
    along: Point2
    edges: Floats

    @classmethod
    def of(cls, edges: Floats, start: Point2, end: Point2) -> Frame:
        """Return the frame of a line, with the edges turned into it. Raises ValueError for a line of no length."""
        length = math.dist(start, end)
        if length <= 0:
            raise ValueError("a bend line needs a length")
        along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        turned = cls(start, along, np.zeros((0, 4))).all_here(edges.reshape(-1, 2))
        return cls(start, along, turned.reshape(-1, 4))

    def back(self, x: float, y: float) -> Point2:
        """Return a point of the frame in the flat."""
        c, s = self.along
        return (self.origin[0] + x * c - y * s, self.origin[1] + x * s + y * c)

    def here(self, point: Point2) -> Point2:
        """Return a point of the flat in the frame."""
        c, s = self.along
        dx, dy = point[0] - self.origin[0], point[1] - self.origin[1]
        return (dx * c + dy * s, dy * c - dx * s)

    def all_here(self, points: Floats) -> Floats:
        """Return (n, 2) points of the flat in the frame."""
        c, s = self.along
        moved = points - np.array(self.origin)
        return np.stack([moved[:, 0] * c + moved[:, 1] * s, moved[:, 1] * c - moved[:, 0] * s], axis=1)

    def near_row(self, reach_mm: float) -> Frame:
        """Return the frame with only the edges that come within reach of the line, for many calls of `row`."""
        low, high = np.minimum(self.edges[:, 1], self.edges[:, 3]), np.maximum(self.edges[:, 1], self.edges[:, 3])
        return Frame(self.origin, self.along, self.edges[(low <= reach_mm) & (high >= -reach_mm)])

    def row(self, y: float) -> list[Span]:
        """Return where the sheet is at this distance from the line, as spans of x in order."""
        return _spans(self.edges[:, 0], self.edges[:, 1], self.edges[:, 2], self.edges[:, 3], y)

    def column(self, x: float) -> list[Span]:
        """Return where the sheet is across the line at x, as spans of y in order."""
        return _spans(self.edges[:, 1], self.edges[:, 0], self.edges[:, 3], self.edges[:, 2], x)


def _spans(u1: Floats, v1: Floats, u2: Floats, v2: Floats, v: float) -> list[Span]:
    """Cut edges with the line at v; between odd and even crossings lies the sheet."""
    # An edge owns its lower end only, so that a corner on the line counts once.
    cut = (v1 <= v) != (v2 <= v)
    a, b, c, d = u1[cut], v1[cut], u2[cut], v2[cut]
    at = np.sort(a + (v - b) / (d - b) * (c - a)).tolist()
    return list(zip(at[::2], at[1::2], strict=False))


def common(first: list[Span], second: list[Span]) -> list[Span]:
    """Return where both lists of spans are, in order."""
    found = []
    i = j = 0
    while i < len(first) and j < len(second):
        low, high = max(first[i][0], second[j][0]), min(first[i][1], second[j][1])
        if low < high:
            found.append((low, high))
        if first[i][1] < second[j][1]:
            i += 1
        else:
            j += 1
    return found
