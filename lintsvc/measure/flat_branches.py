"""Loops out of tangles: curves where more than two ends meet, or open lines that cross each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.measure.flat_curves import Curves
from lintsvc.measure.flat_rings import Rings, without_doubles
from lintsvc.measure.flat_weld import Floats, Ints, components

if TYPE_CHECKING:
    from shapely import LineString, STRtree


@dataclass(frozen=True, eq=False)
class Untangled:
    """`rings`: the loops chosen. `inner`: lines that run from one place of a loop to another, inside it.

    `loose`: lines with a loose end. Both as (points (n, 2), numbers of curves).
    """

    rings: Rings
    inner: tuple[tuple[Floats, Ints], ...]
    loose: tuple[tuple[Floats, Ints], ...]


def untangle(curves: Curves, which: Ints, nodes: Ints, twice: Ints, *, crossing: bool) -> Untangled:
    """Choose loops among the curves `which`.

    The lines are cut up where they meet and the faces between them found. Faces that border the outside
    and share a line drawn once are one part with a line across it; a line drawn twice (`twice`: curves
    with a copy) parts them. Faces with no border to the outside are one cutout in the same way. `crossing`:
    some of the curves meet elsewhere than at their ends.
    """
    import shapely

    lines = _lines(curves, which, nodes)
    if crossing:
        noded = shapely.union_all(np.array(lines, object), grid_size=curves.same_mm)
        edges = list(shapely.get_parts(noded))
    else:
        edges = lines
    faces, _, _, _ = shapely.polygonize_full(edges)
    polygons = list(shapely.get_parts(faces))
    source = shapely.STRtree(lines)
    edge_curve = which[source.nearest([x.interpolate(0.5, normalized=True) for x in edges])]
    sides = _faces_beside(edges, polygons, curves.same_mm)
    outside = {x[0] for x in sides if len(x) == 1}
    drawn_twice = set(twice.tolist())
    merged = [
        (x[0], x[1])
        for x, curve in zip(sides, edge_curve.tolist(), strict=True)
        if len(x) == 2 and (x[0] in outside) == (x[1] in outside) and curve not in drawn_twice
    ]
    group, count = components(len(polygons), np.array(merged, np.int64).reshape(-1, 2))
    rings: list[Floats] = []
    for g in range(count):
        members = [polygons[k] for k in np.flatnonzero(group == g)]
        shape = members[0] if len(members) == 1 else shapely.union_all(members, grid_size=curves.same_mm)
        # What lies in a hole of it are other faces, and they come by themselves.
        rings += [shapely.get_coordinates(part.exterior)[:-1] for part in shapely.get_parts(shape)]
    inner, loose = [], []
    for edge, beside, curve in zip(edges, sides, edge_curve.tolist(), strict=True):
        row = (shapely.get_coordinates(edge), np.array([curve]))
        if not beside:
            loose.append(row)
        elif len(beside) == 2 and group[beside[0]] == group[beside[1]]:
            inner.append(row)
    return Untangled(_as_rings(curves, rings, source, which), _put_together(inner), _put_together(loose))


def _lines(curves: Curves, which: Ints, nodes: Ints) -> list[LineString]:
    """Return the curves as lines whose welded ends coincide exactly."""
    import shapely

    seat: dict[int, Any] = {}
    lines = []
    for c in which.tolist():
        points = curves.points_of(c).copy()
        points[0] = seat.setdefault(int(nodes[c, 0]), points[0].copy())
        points[-1] = seat.setdefault(int(nodes[c, 1]), points[-1].copy())
        lines.append(shapely.LineString(points))
    return lines


def _faces_beside(edges: list[Any], polygons: list[Any], same_mm: float) -> list[list[int]]:
    """Return for each edge the faces whose outer border runs along it: none, one or two."""
    import shapely

    beside: list[list[int]] = [[] for _ in edges]
    if polygons:
        borders = shapely.STRtree(shapely.get_exterior_ring(polygons))
        middles = [x.interpolate(0.5, normalized=True) for x in edges]
        for edge, face in borders.query(middles, predicate="dwithin", distance=same_mm / 4).T.tolist():
            beside[edge].append(face)
    return beside


def _as_rings(curves: Curves, rings: list[Floats], source: STRtree, which: Ints) -> Rings:
    import shapely

    if not rings:
        return Rings(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(1, np.int64))
    points = np.concatenate(rings)
    middles = np.concatenate([(x + np.roll(x, -1, axis=0)) / 2 for x in rings])
    curve = which[source.nearest(shapely.points(middles))]
    offset = np.concatenate([[0], np.cumsum([len(x) for x in rings])]).astype(np.int64)
    return without_doubles(Rings(points, curve, offset), curves.same_mm)


def _put_together(pieces: list[tuple[Floats, Ints]]) -> tuple[tuple[Floats, Ints], ...]:
    """Join pieces of line that follow each other. A line that others cross stays the one that was drawn."""
    import shapely

    if not pieces:
        return ()
    by_curve: dict[tuple[int, ...], list[Floats]] = {}
    for points, which in pieces:
        by_curve.setdefault(tuple(which.tolist()), []).append(points)
    lines, owner = [], []
    for curves, parts in by_curve.items():
        drawn = shapely.get_parts(shapely.line_merge(shapely.multilinestrings([shapely.LineString(p) for p in parts])))
        lines += list(drawn)
        owner += [curves] * len(drawn)
    merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(lines)))
    tree = shapely.STRtree(lines)
    result = []
    for line in merged:
        along = {c for k in tree.query(line, predicate="covers").tolist() for c in owner[k]}
        result.append((shapely.get_coordinates(line), np.array(sorted(along), np.int64)))
    return tuple(result)
