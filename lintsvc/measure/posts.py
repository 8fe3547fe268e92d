"""Posts without two sides that face each other: three-cornered ones, five-cornered ones.

Their sides open like an edge of the part does, and no ball between two of them says how thick they are. The largest
circle within their section does.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bars import Bar, axes_about, bar_about, ring_of
from lintsvc.measure.cells import Cells
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.place import Place
from lintsvc.measure.sections import round_width
from lintsvc.measure.sides import OPPOSED
from lintsvc.measure.solids import Solids
from lintsvc.measure.weld import weld
from lintsvc.measure.widths import TOLERANCE, Widths

#: So many points by which no ball of the limit fits are followed to a middle, and so many middles are looked at; a part
#: with more has other worries.
_FOLLOWED = 1000
_MOST = 100
#: Points in a cube of so many limits are looked at together: a wall has more than so many times as many points with
#: their other side straight across as others.
_CUBE = 2.0
_WALLS = 2.0
#: Steps across in search of the middle, in widths, and how often each is taken.
_STEPS = (0.4, 0.2, 0.1)
_FINE_STEPS = (0.05, 0.025, 0.0125, 0.006, 0.003)
_MOST_TRIES = 8
_DIRECTIONS = 12
#: A post is longer than this many widths, and no broader than so many.
_LONG = 1.5
_BROAD = 3.0
#: Points on its sides lie up to so many times its breadth from its axis; sides lean by less than thirty degrees.
_WIDER = 1.2
_LEAN = 0.5


@dataclass(frozen=True, eq=False)
class _Middle:
    """A place in the middle of a section: where, along what, and the radius of the circle there."""

    at: Floats
    axis: Floats
    radius: float


@dataclass(frozen=True, eq=False)
class _Points:
    """Points of the surface."""

    widths: Widths

    @cached_property
    def by_x(self) -> tuple[Floats, Ints]:
        """Where they are, and on which faces, by x: those near a post are found without looking at all. On most parts
        nobody asks."""
        order = np.argsort(self.widths.point[:, 0], kind="stable")
        return self.widths.point.take(order, axis=0), self.widths.face[order]


def find_posts(mesh: Mesh, cells: Cells, solids: Solids, widths: Widths, limit_mm: float, known: Ints) -> list[Place]:
    """Return the posts in whose section no circle of the limit fits, but for those with faces among the `known`."""
    centre, axis = _tight(mesh, widths, limit_mm)
    if not len(centre):
        return []
    centre, radius = _widest(mesh, centre, axis, limit_mm, _STEPS)
    # The thickest first: what lies farther out in the same post is smaller. Middles side by side are one.
    order = np.argsort(-radius.round(3), kind="stable")
    order = order[radius[order] < limit_mm / 2]
    order = order[weld(np.floor(centre[order] / (limit_mm / 4)))[0]]
    centre, axis = centre[order], axis[order]
    if not len(centre):
        return []
    centre, radius = _widest(mesh, centre, axis, limit_mm, _FINE_STEPS)
    thin = np.array([_is_thin(mesh, 2 * x, limit_mm) for x in radius])
    centre, axis, radius = centre[thin], axis[thin], radius[thin]
    order = np.argsort(-radius.round(3), kind="stable")
    points = _Points(widths)
    taken = np.zeros(len(mesh), bool)
    taken[known] = True
    touch = nearest(mesh.bvh, centre, 2 * radius).face
    found: list[Place] = []
    tries = 0
    for i in order.tolist():
        if taken[touch[i]]:
            continue
        post = _post(mesh, cells, solids, points, _Middle(centre[i], axis[i], float(radius[i])), limit_mm, taken)
        tries += post is None
        if post is not None:
            found.append(post)
            taken[post.faces] = True
        elif tries == _MOST:
            break
    return sorted(found, key=lambda x: x.width_mm)


def _tight(mesh: Mesh, widths: Widths, limit_mm: float) -> tuple[Floats, Floats]:
    """Middles (k, 3) of balls between two sides that open by more than an edge's 30 degrees, and the directions in
    which those sides go on, for places in which no ball of the limit touches both of them."""
    aslant = widths.opposed > OPPOSED
    # Where most of what is near has its other side straight across, there are walls.
    _, cube = weld(np.floor(widths.point / (_CUBE * limit_mm)))
    walls = np.bincount(cube, weights=~aslant)[cube] > _WALLS * np.bincount(cube, weights=aslant)[cube]
    some = np.flatnonzero(aslant & ~walls & (widths.area > 0) & (widths.raw < limit_mm))
    if not len(some):
        return np.empty((0, 3)), np.empty((0, 3))
    one, other = mesh.normals[widths.face[some]], mesh.normals[widths.contact_face[some]]
    inward = -(one + other)
    length = np.linalg.norm(inward, axis=1)
    opens = length > 1e-6
    some, one, other, inward, length = some[opens], one[opens], other[opens], inward[opens], length[opens]
    near = widths.take(some)
    # Between two planes a ball that moves away from their edge grows by this much for each millimetre.
    centres = near.centres()
    farther = centres + inward / length[:, None] * ((limit_mm - near.raw) / length)[:, None]
    first, _ = weld(np.floor(farther / (limit_mm / 4)))
    some, farther = some[first], farther[first]
    reach = limit_mm / 2 * (1 - TOLERANCE)
    clear = nearest(mesh.bvh, farther, np.full(len(farther), reach)).distance
    tight = first[clear < 0.98 * reach]
    tight = tight[np.argsort(-near.raw[tight], kind="stable")]
    # The thickest place of each small cube leads to the middle of what is there.
    tight = tight[weld(np.floor(centres[tight] / (limit_mm / 2)))[0]][:_FOLLOWED]
    along = np.cross(one[tight], other[tight])
    return centres[tight], along / np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]


def _widest(
    mesh: Mesh, centre: Floats, axis: Floats, limit_mm: float, steps: tuple[float, ...]
) -> tuple[Floats, Floats]:
    """Walk across the axes to where a ball is largest, no farther than to one of the limit: (k, 3) and radii (k,)."""
    turns = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    circle = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    across = np.cross(axis, np.eye(3)[np.abs(axis).argmin(axis=1)])
    across /= np.linalg.norm(across, axis=1)[:, None]
    ways: Floats = circle @ np.stack([across, np.cross(axis, across)], axis=1)
    centre = centre.copy()
    best = nearest(mesh.bvh, centre, np.full(len(centre), limit_mm / 2)).distance
    for step in steps:
        open_ = np.arange(len(centre))
        for _ in range(_MOST_TRIES):
            open_ = open_[best[open_] < limit_mm / 2]
            if not len(open_):
                break
            tried = centre[open_, None] + step * 2 * best[open_, None, None] * ways[open_]
            # How near exactly does not matter where it is nearer than before.
            enough = np.repeat(best[open_] * (1 - 1e-12), _DIRECTIONS)
            clear = nearest(mesh.bvh, tried.reshape(-1, 3), np.full(len(enough), limit_mm / 2), enough).distance
            clear = clear.reshape(len(open_), _DIRECTIONS)
            i = clear.argmax(axis=1)
            row = np.arange(len(open_))
            better = clear[row, i] > best[open_] * (1 + 1e-6)
            centre[open_[better]] = tried[row[better], i[better]]
            best[open_[better]] = clear[row[better], i[better]]
            open_ = open_[better]
    return centre, best


def _is_thin(mesh: Mesh, width: float, limit_mm: float) -> bool:
    return 4 * mesh.rounding_mm < width < limit_mm * (1 - TOLERANCE) - 4 * mesh.rounding_mm


def _post(
    mesh: Mesh,
    cells: Cells,
    solids: Solids,
    points: _Points,
    middle: _Middle,
    limit_mm: float,
    taken: NDArray[np.bool_],
) -> Place | None:
    """The post about one middle; None where it is none."""
    touch = nearest(mesh.bvh, middle.at[None], np.array([4 * middle.radius]))
    across = (touch.place[0] - middle.at) / float(touch.distance[0])
    axes = [middle.axis, *axes_about(mesh, middle.at, across)]
    # Two sides that were met by chance, as those of a rounded tip, tell no axis.
    bars = (bar_about(mesh, middle.at, x, across, 2 * middle.radius) for x in axes)
    bar = next((x for x in bars if x is not None), None)
    if bar is None or taken[bar.sides].any():
        return None
    if bar.length < _LONG * bar.width or bar.across > _BROAD * bar.width:
        return None
    faces = _faces(mesh, cells, points, bar)
    # Eight flats and more stand for a circle.
    width = round_width(mesh, ring_of(mesh, bar), bar.middle, bar.axis, bar.width) if bar.curved else bar.width
    if not _is_thin(mesh, width, limit_mm):
        return None
    at, length, out = bar.middle, bar.length, bar.touch * (bar.width / 2)
    ends = np.stack([at + bar.low * bar.axis, at + bar.high * bar.axis])
    solid = int(solids.of_face[touch.face[0]])
    return Place(
        width_mm=round(width, 5),
        span=(at + out, at - out),
        chord_mm=0.0,
        round=True,
        length_mm=length,
        breadth_mm=width,
        surely_mm=length,
        long_mm=length,
        axis=bar.axis,
        area_mm2=length * width,
        low=False,
        across_mm=width,
        faces=faces,
        one_section=True,
        parallel_share=0.0,
        solids=(solid, solid),
        in_void=False,
        neck=False,
        box=(ends.min(axis=0) - bar.width / 2, ends.max(axis=0) + bar.width / 2),
        bar=bar,
        high_mm=bar.thinner_than(limit_mm),
    )


def _faces(mesh: Mesh, cells: Cells, points: _Points, bar: Bar) -> Ints:
    """All faces of the sides: those of the sections, and those of the points around."""
    reach = _WIDER * bar.across + (bar.widest - bar.width)
    x = bar.middle[0] + np.array([bar.low, bar.high]) * bar.axis[0]
    place, face = points.by_x
    first, last = np.searchsorted(place[:, 0], (x.min() - reach, x.max() + reach))
    from_middle = place[first:last] - bar.middle
    along = from_middle @ bar.axis
    near = np.flatnonzero((along > bar.low) & (along < bar.high))
    off = np.linalg.norm(from_middle[near] - along[near, None] * bar.axis, axis=1)
    near = first + near[off < reach]
    lean = np.abs(mesh.normals[face[near]] @ bar.axis)
    near = near[lean < _LEAN]
    return cells.faces(np.concatenate([bar.sides, face[near]]))
