"""Thin walls, pins, narrow gaps and holes: points whose width is below a limit, joined to places."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import ROUND
from lintsvc.measure.balls import INSIDE
from lintsvc.measure.bar_places import bar_at, told_once, width_of
from lintsvc.measure.bars import BROAD
from lintsvc.measure.cells import Cells
from lintsvc.measure.creases import Creases
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.pins import length_of, middle_of
from lintsvc.measure.place import AS_HIGH, LOW, PARALLEL, RIM, SLIGHT, STRAIGHT, Place, Places
from lintsvc.measure.rays import first_hits
from lintsvc.measure.refine import necks, refine, slide
from lintsvc.measure.regions import clusters, regions
from lintsvc.measure.ribs import is_rib
from lintsvc.measure.sections import round_width
from lintsvc.measure.sides import OPPOSED, Sides
from lintsvc.measure.solids import Solids
from lintsvc.measure.topology_groups import components
from lintsvc.measure.widths import SPACING_MM, TOLERANCE, Widths

#: Faces of a place from which on its corners are not looked at.
_MANY = 5000
#: So many places are told one by one; with more, nobody reads them.
_TOLD = 400
#: Widths within this factor are alike.
_ALIKE = 1.003
#: Logarithm of how much the proportion of a pin's two widths varies.
_PROPORTION = np.log(1.5)
#: Groups of points in one pin are up to so many of its widths apart.
_STRETCH = 8.0
#: Points along one crease or about one axis, of one body, are this near each other.
_ALONG_MM = 0.75
#: So many places, the thinnest, get their least width searched for; more are no help to anybody.
_REFINED = 200
#: So many small places are looked at whether they are necks, and this is how opposed their sides are.
_SMALL = 100
_NECK = -0.9
#: A pin is no more than so many times as thick in its middle as a ball beside it.
_OVAL = 1.6
#: What may be thinner at its tip has sides that open by three degrees and more and are no curve cut into facets; so
#: many tips are looked at.
_OPENS = -np.cos(np.radians(3.0))
_STRAIGHT = 0.03
_TIPS = 50
#: After so many that are no bars no more are looked for: the part is a lattice of curved struts, or a mesh of noise.
_IN_VAIN = 30
#: A place is shown where its points are thinnest, unless the bar is thinner elsewhere by this share.
_MOVED = 0.01
#: Points are joined to places up to this factor of the limit.
_LOOSE = 1.12
#: Points within this many spacings are one place.
_JOINED = 2.0


def find_places(mesh: Mesh, cells: Cells, creases: Creases, solids: Solids, sides: Sides, limit_mm: float) -> Places:
    """Return the places below the limit."""
    # Points a little above the limit hold together what lies below it here and there.
    sides = sides.below(limit_mm * _LOOSE, mesh.rounding_mm)
    near, is_round, across, along = sides.points, sides.is_round, sides.across, sides.along
    if not len(near):
        return Places()
    label, count = _together(mesh, cells, solids, near, is_round)
    groups, left_out = _groups(mesh, near, label, count, limit_mm)
    groups += _tapered(mesh, near, label, count, limit_mm)
    groups = _one_pin_each(mesh, near, is_round, groups)
    if not groups:
        return Places()
    shown = np.array([_shown_at(near, x) for x in groups], np.intp)
    least = near.take(shown)
    worst = np.argsort(least.width)[:_REFINED]
    on_face, on_line = worst[least.area[worst] > 0], worst[least.area[worst] == 0]
    least = least.replaced(
        on_face, refine(mesh, creases, solids, least.take(on_face), is_round[shown[on_face]], OPPOSED)
    )
    least = least.replaced(on_line, slide(mesh, creases, solids, least.take(on_line), OPPOSED))
    neck = necks(mesh, creases, least)
    near_rim = sides.rim < RIM * near.width
    told: dict[int, Place] = {}
    in_vain = 0
    # The thinnest first: of many that are no bars not all are looked at.
    for i in np.argsort(least.width, kind="stable").tolist():
        x = groups[i]
        around = (is_round[x], near_rim[x], across[x], along[x])
        seek = in_vain < _IN_VAIN
        told[i] = _place(mesh, cells, least.take([i]), neck[i], near.take(x), *around, solids, limit_mm, seek)
        in_vain += told[i].bar is None and (told[i].round or told[i].breadth_mm < BROAD * told[i].width_mm)
    # A pin is known only whole: an oval one is wider than the balls that touch it beside its middle, and one with a
    # draft may be thinner at its tip than at any point.
    below = near.is_below(limit_mm, mesh.rounding_mm)
    points_tell = [bool(below[x].any()) for x in groups]
    found = Places(
        told[i]
        for i, known in enumerate(points_tell)
        if told[i].width_mm < limit_mm * (1 - TOLERANCE) and (known or told[i].bar is not None)
    )
    if near.side == INSIDE:
        # Holes are told by other measurements, and a gap is one all the same.
        found = Places(told_once(found))
    found.sort(key=lambda x: x.width_mm)
    found.left_out = left_out
    return found


def _groups(
    mesh: Mesh, near: Widths, label: NDArray[np.int32], count: int, limit_mm: float
) -> tuple[list[NDArray[np.intp]], int]:
    """The points below the limit by place, each sorted by width; at most _TOLD places, and how many more there are."""
    below = np.flatnonzero(near.is_below(limit_mm, mesh.rounding_mm))
    order = below[np.lexsort((near.width[below], label[below]))]
    starts = np.searchsorted(label[order], np.arange(count + 1))
    kept = np.flatnonzero(starts[1:] > starts[:-1])
    # A mesh of noise has as many specks as faces: they go before anything is done for each of them.
    first = starts[kept]
    area = np.add.reduceat(near.area[order], first) / 2
    points = near.point[order]
    spread = np.maximum.reduceat(points, first, axis=0) - np.minimum.reduceat(points, first, axis=0)
    least = near.width[order[first]]
    large = (area >= SLIGHT * limit_mm**2) | (np.linalg.norm(spread, axis=1) + least >= limit_mm)
    # Small ones may be necks all the same: the thinnest of those whose sides are not far from parallel are kept.
    small = np.flatnonzero(~large & (near.opposed[order[first]] <= _NECK))
    large[small[np.argsort(least[small], kind="stable")[:_SMALL]]] = True
    kept, least = kept[large], least[large]
    told = kept[np.sort(np.argsort(least, kind="stable")[:_TOLD])]
    return [order[starts[i] : starts[i + 1]] for i in told], len(kept) - len(told)


def _tapered(mesh: Mesh, near: Widths, label: NDArray[np.int32], count: int, limit_mm: float) -> list[NDArray[np.intp]]:
    """Groups of points none of which is below the limit although the tip of what they are on may be: its sides come
    together, and its tip is too small for a point of its own."""
    if near.side != INSIDE:
        return []
    below = near.is_below(limit_mm, mesh.rounding_mm)
    known = np.bincount(label, weights=below, minlength=count) > 0
    some = np.flatnonzero(~known[label] & (near.opposed > _OPENS) & (near.chord < _STRAIGHT * near.width))
    order = some[np.lexsort((near.width[some], label[some]))]
    starts = np.searchsorted(label[order], np.arange(count + 1))
    kept = np.flatnonzero(starts[1:] > starts[:-1])
    kept = kept[np.argsort(near.width[order[starts[kept]]], kind="stable")][:_TIPS]
    return [order[starts[i] : starts[i + 1]] for i in np.sort(kept)]


def _together(
    mesh: Mesh, cells: Cells, solids: Solids, near: Widths, is_round: NDArray[np.bool_]
) -> tuple[NDArray[np.int32], int]:
    """Label the points of one place: over their faces, and pins and holes along their axis, too."""
    label = np.empty(len(near), np.int32)
    count = 0
    for kind in (False, True):
        chosen = np.flatnonzero(is_round == kind)
        if not len(chosen):
            continue
        some = near.take(chosen)
        sides = (some.point, some.face, some.contact, some.contact_face)
        by_face, found = regions(mesh, cells, *sides, _JOINED * SPACING_MM)
        # The sides of a square pin meet at edges, and the bottom of a groove is an edge: no face holds them together.
        line = np.arange(len(some)) if kind else np.flatnonzero(some.area == 0)
        # Two pins of two bodies are two, however near; the air between bodies is nobody's.
        owner = solids.of_face[some.face[line]] if near.side == INSIDE else None
        by_line, lines = clusters((some.centres() if kind else some.point)[line], _ALONG_MM, owner)
        joined = components(found + lines, by_face[line], by_line + found)[:found]
        _, new = np.unique(joined, return_inverse=True)
        label[chosen] = new[by_face] + count
        count += int(new.max()) + 1
    return label, count


def _one_pin_each(
    mesh: Mesh, near: Widths, is_round: NDArray[np.bool_], groups: list[NDArray[np.intp]]
) -> list[NDArray[np.intp]]:
    """Join groups that a straight line through one pin or hole connects: on coarse facets few points count."""
    pins = [i for i, x in enumerate(groups) if is_round[x[0]]]
    if not 1 < len(pins) <= _REFINED:
        return groups
    first = np.array([groups[i][len(groups[i]) // 2] for i in pins])
    centre, width = near.centres()[first], near.width[first]
    a, b = np.triu_indices(len(pins), 1)
    distance = np.linalg.norm(centre[b] - centre[a], axis=1)
    close = np.flatnonzero((distance < _STRETCH * np.minimum(width[a], width[b])) & (distance > 0))
    a, b, distance = a[close], b[close], distance[close]
    ahead, _ = first_hits(mesh.bvh, centre[a], (centre[b] - centre[a]) / distance[:, None])
    open_way = ahead > distance
    number = components(len(pins), a[open_way], b[open_way])
    joined: dict[int, list[int]] = {}
    for i, k in zip(pins, number.tolist(), strict=True):
        joined.setdefault(k, []).append(i)
    flat = [x for i, x in enumerate(groups) if i not in set(pins)]
    whole = [np.concatenate([groups[i] for i in members]) for members in joined.values()]
    return flat + [x[np.argsort(near.width[x], kind="stable")] for x in whole]


def _shown_at(narrow: Widths, members: NDArray[np.intp]) -> int:
    """Of a region's points, sorted by width, one of the least: the one in the middle where many are alike."""
    alike = members[: np.searchsorted(narrow.width[members], narrow.width[members[0]] * _ALIKE, side="right")]
    points = narrow.point[alike]
    return int(alike[np.argmin(((points - points.mean(axis=0)) ** 2).sum(axis=1))])


def _place(
    mesh: Mesh,
    cells: Cells,
    least: Widths,
    neck: bool,
    points: Widths,
    is_round: NDArray[np.bool_],
    near_rim: NDArray[np.bool_],
    across: Floats,
    along: Floats,
    solids: Solids,
    limit_mm: float,
    seek: bool,
) -> Place:
    """Sum up one region; `seek`: look whether it is a bar."""
    ends = np.concatenate([points.point, points.contact])
    faces = cells.faces(points.face)
    axes = _axes(ends)
    # Of a place of many faces the points lie as far out as its corners.
    corners = mesh.vertices[mesh.faces[faces].ravel()] if len(faces) < _MANY else ends
    extents = _extents(ends, corners, axes)
    longest = int(np.argmax(extents))
    # A pin's own direction, not that of its longest extent: the tip of a plate is wider than long.
    axis = np.linalg.eigh(along.T @ along)[1][:, 2] if is_round[0] else axes[longest]
    weight = np.maximum(points.area, 1e-9)
    line, parallel = points.area == 0, points.opposed < PARALLEL
    narrower = line.any() and points.width[line].min() * _ALIKE < points.width[~line].min(initial=np.inf)
    if narrower and weight @ (parallel & ~line) < STRAIGHT * weight.sum():
        # A line is what is thin here; the faces beside it only come near.
        weight = line.astype(np.float64)
    width = float(least.width[0])
    long, wide = 0.0, float(np.median(across))
    rounded, span, high = bool(is_round[0]), (least.point[0], least.contact[0]), 0.0
    breadth = float(np.sort(extents)[-2])
    bar = None
    if seek and points.side == INSIDE and (rounded or breadth < BROAD * width):
        bar = bar_at(mesh, least, points, axis if rounded else None)
    if bar is not None:
        rounded = bar.across < ROUND * bar.width
        if abs(bar.width - width) > _MOVED * width:
            half = bar.touch * bar.width / 2
            span = (bar.middle + half, bar.middle - half)
        width = width_of(mesh, bar, least)
        axis, long, wide, high = bar.axis, bar.length, bar.across, bar.thinner_than(limit_mm)
    elif is_round[0]:
        middle, across_middle = middle_of(mesh, least, axis)
        oval = across_middle if width < across_middle < _OVAL * width else width
        width = round_width(mesh, faces, least.centres()[0], axis, oval)
        long, section = length_of(mesh, least, axis, middle, width)
        # Balls near the end of a short pin see that end beside them: its section tells better how wide it is.
        wide = min(wide, section) if long > 0 else wide
    rim_share = float(weight @ near_rim / weight.sum())
    low = rim_share > LOW and (rounded or not is_rib(mesh, points, width))
    if bar is not None and not rounded:
        low = high <= AS_HIGH * width
    bounded = (int(solids.of_face[least.face[0]]), int(solids.of_face[least.contact_face[0]]))
    return Place(
        width_mm=round(width, 5),
        span=span,
        chord_mm=float(least.chord[0]),
        round=rounded,
        length_mm=float(extents[longest]),
        breadth_mm=breadth,
        surely_mm=float(np.ptp(ends @ axis)),
        long_mm=long,
        axis=axis,
        area_mm2=float(points.area.sum()) / 2,
        low=low,
        across_mm=wide,
        faces=cells.faces(np.concatenate([points.face, points.contact_face])),
        one_section=bool(is_round[0] and np.ptp(np.log(np.percentile(across / points.width, (10, 90)))) < _PROPORTION),
        parallel_share=float(weight @ parallel / weight.sum()),
        solids=(min(bounded), max(bounded)),
        in_void=bool(solids.in_void[least.face[0]]),
        neck=bool(neck),
        box=_ranges(ends, np.eye(3)),
        bar=bar,
        high_mm=high,
    )


def _extents(points: Floats, corners: Floats, axes: Floats) -> Floats:
    """Extents along the axes of a place that reaches up to a spacing beyond its points, but not beyond its faces."""
    inner, outer = _ranges(points, axes), _ranges(corners, axes)
    low = np.maximum(inner[0] - SPACING_MM, np.minimum(outer[0], inner[0]))
    high = np.minimum(inner[1] + SPACING_MM, np.maximum(outer[1], inner[1]))
    extents: Floats = high - low
    return extents


def _ranges(points: Floats, axes: Floats) -> tuple[Floats, Floats]:
    """Least and most of (n, 3) points along each of the axes, which are rows."""
    # One axis at a time: NumPy is slow along the short side of a long array.
    along = [points @ axis for axis in axes]
    return np.array([x.min() for x in along]), np.array([x.max() for x in along])


def _axes(points: Floats) -> Floats:
    """Main axes of (n, 3) points, as rows."""
    centred = points - np.ones(len(points)) @ points / len(points)
    axes: Floats = np.linalg.eigh(centred.T @ centred)[1].T[::-1]
    return axes
