"""Curves that are drawn twice, or over and over: cut twice, a line is burnt and the part may come loose."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.flat_curves import ARC, CIRCLE, LINE, POLYLINE, Curves
from lintsvc.measure.flat_weld import Floats, Ints, weld

#: This many points tell two curves apart that agree in ends, length and middle.
_POINTS_COMPARED = 48


def stand_ins(curves: Curves, ends: Ints) -> Ints:
    """Return (k,) for each curve the curve that is kept in its place: itself, unless it repeats another.

    Curves repeat each other when they lie on each other from end to end, whichever way they are drawn.
    `ends` (k, 2): the welded nodes of each curve's ends.
    """
    instead = np.arange(len(curves))
    closed = ends[:, 0] == ends[:, 1]
    middles, lengths = _middles(curves)
    spots, _ = weld(middles, 4 * curves.same_mm)
    low, high = ends.min(axis=1), ends.max(axis=1)
    near = 4 * curves.same_mm

    runs = np.flatnonzero((curves.kind != CIRCLE) & ~closed)
    for curve, copy in _alike(runs, [curves.kind.astype(np.int64), low, high, spots], lengths, near):
        if curves.kind[curve] in (LINE, ARC) or _on_each_other(curves, curve, copy):
            instead[copy] = instead[curve]
    for curve, copy in _alike(np.flatnonzero(curves.kind == CIRCLE), [spots], curves.radius, near):
        instead[copy] = instead[curve]
    for curve, copy in _alike(np.flatnonzero((curves.kind == POLYLINE) & closed), [spots], lengths, near):
        if _on_each_other(curves, curve, copy):
            instead[copy] = instead[curve]
    return instead


def _middles(curves: Curves) -> tuple[Floats, Floats]:
    """Return each curve's middle weighted by length (k, 2) and its length (k,)."""
    count = len(curves)
    owner = np.repeat(np.arange(count), np.diff(curves.offset))
    inside = owner[1:] == owner[:-1]
    a, b = curves.points[:-1][inside], curves.points[1:][inside]
    long = np.hypot(*(b - a).T)
    of = owner[:-1][inside]
    length = np.bincount(of, long, count).astype(float)
    safe = np.where(length > 0, length, 1.0)
    middle: Floats = np.column_stack([np.bincount(of, long * (a + b)[:, i] / 2, count) / safe for i in (0, 1)])
    circle = curves.kind == CIRCLE
    middle[circle], length[circle] = curves.centre[circle], 2 * np.pi * curves.radius[circle]
    return middle, length


def _alike(among: Ints, keys: list[Ints], size: Floats, near: float) -> list[tuple[int, int]]:
    """Return (curve, copy) candidates: curves whose keys are equal and whose sizes agree within `near`."""
    if len(among) < 2:
        return []
    columns = [x[among] for x in keys]
    order = np.lexsort([among, size[among], *columns])
    ordered = among[order]
    together = np.abs(np.diff(size[ordered])) <= near
    for column in columns:
        together &= np.diff(column[order]) == 0
    pairs = []
    first = int(ordered[0])
    for curve, linked in zip(ordered[1:].tolist(), together.tolist(), strict=True):
        if linked:
            pairs.append((first, curve))
        else:
            first = curve
    return pairs


def _on_each_other(curves: Curves, one: int, other: int) -> bool:
    return _lies_on(curves, one, other) and _lies_on(curves, other, one)


def _lies_on(curves: Curves, one: int, other: int) -> bool:
    import shapely

    points = curves.points_of(one)
    some = points[np.unique(np.linspace(0, len(points) - 1, _POINTS_COMPARED).astype(int))]
    line = shapely.LineString(curves.points_of(other))
    return bool((shapely.distance(shapely.points(some), line) <= 4 * curves.same_mm).all())
