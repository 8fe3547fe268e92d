"""Posts without two sides that face each other: three-cornered ones, five-cornered ones.

Their sides open like an edge of the part does, and no ball between two of them says how thick they are. The largest
circle within their section does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.cells import Cells
from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of
from lintsvc.measure.nearest import nearest
from lintsvc.measure.place import Place
from lintsvc.measure.rays import first_hits
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
#: The section is looked at in so many directions; it is no wider than so many of its circles.
_RAYS = 24
_BROAD = 3.0
#: A post is longer than this many widths, and gets thicker by no more than a draft of ten degrees a side.
_LONG = 1.5
_DRAFT = 2 * np.tan(np.radians(10.0))
#: The foot is looked for so far beside it, in its widths.
_BESIDE = 0.25
#: The section is measured in so many places, no nearer to the ends than a ball there is.
_SECTIONS = 5


#: A post with a draft is up to so many times as broad at its foot.
_WIDER = 1.2
#: The axis of all sides together is near that of the two that were met first; sides lean by less than thirty degrees.
_ALONG = np.cos(np.radians(25.0))
_LEAN = 0.5


@dataclass(frozen=True, eq=False)
class _Middle:
    """A place in the middle of a section: where, along what, and the radius of the circle there."""

    at: Floats
    axis: Floats
    radius: float


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
    # By x: those near a post are found without looking at all.
    widths = widths.take(np.argsort(widths.point[:, 0], kind="stable"))
    taken = np.zeros(len(mesh), bool)
    taken[known] = True
    touch = nearest(mesh.bvh, centre, 2 * radius).face
    found: list[Place] = []
    tries = 0
    for i in order.tolist():
        if taken[touch[i]]:
            continue
        post = _post(mesh, cells, solids, widths, _Middle(centre[i], axis[i], float(radius[i])), limit_mm, taken)
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
            clear = nearest(mesh.bvh, tried.reshape(-1, 3), np.full(tried[..., 0].size, limit_mm / 2)).distance
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
    widths: Widths,
    middle: _Middle,
    limit_mm: float,
    taken: NDArray[np.bool_],
) -> Place | None:
    """The post about one middle; None where it is none."""
    section = _section(mesh, middle)
    if section is None or taken[section[0]].any():
        return None
    sides, breadth = section
    # Of a post with a draft no two sides go along its middle line; all of them together tell it.
    normals = np.unique(mesh.normals[sides].round(3), axis=0)
    straight = np.linalg.eigh(normals.T @ normals)[1][:, 0]
    if abs(straight @ middle.axis) > _ALONG:
        middle = replace(middle, axis=straight)
    low, high = _ends(mesh, middle)
    length = high - low
    if not np.isfinite(length) or length < _LONG * 2 * middle.radius:
        return None
    # The first middle may have been near an end, which cut its ball.
    half = middle.at + (low + high) / 2 * middle.axis
    at, radius = _widest(mesh, half[None], middle.axis[None], 2 * limit_mm, _STEPS + _FINE_STEPS)
    middle, low, high = _Middle(at[0], middle.axis, float(radius[0])), -length / 2, length / 2
    width = 2 * middle.radius
    if length < _LONG * width:
        return None
    along, places, radii = _sections(mesh, middle, low, high, width, limit_mm)
    if (2 * np.abs(np.diff(radii)) > _DRAFT * np.abs(np.diff(along)) + TOLERANCE * width).any():
        return None
    alike = np.flatnonzero(radii < radii.min() * (1 + TOLERANCE))
    k = int(alike[len(alike) // 2])
    middle, low, high = replace(middle, at=places[k], radius=float(radii.min())), low - along[k], high - along[k]
    faces = _faces(mesh, cells, widths, middle, (low, high), sides, breadth)
    touch = nearest(mesh.bvh, middle.at[None], np.array([2 * width]))
    # Eight flats and more stand for a circle.
    width = round_width(mesh, faces, middle.at, middle.axis, 2 * middle.radius)
    if not _is_thin(mesh, width, limit_mm):
        return None
    out = mesh.normals[touch.face[0]] * middle.radius
    ends = np.stack([middle.at + low * middle.axis, middle.at + high * middle.axis])
    solid = int(solids.of_face[touch.face[0]])
    return Place(
        width_mm=round(width, 5),
        span=(middle.at + out, middle.at - out),
        chord_mm=0.0,
        round=True,
        length_mm=length,
        breadth_mm=width,
        surely_mm=length,
        long_mm=length,
        axis=middle.axis,
        area_mm2=length * width,
        low=False,
        across_mm=width,
        faces=faces,
        one_section=True,
        parallel_share=0.0,
        solids=(solid, solid),
        in_void=False,
        neck=False,
        box=(ends.min(axis=0) - middle.radius, ends.max(axis=0) + middle.radius),
    )


def _sections(
    mesh: Mesh, middle: _Middle, low: float, high: float, width: float, limit_mm: float
) -> tuple[Floats, Floats, Floats]:
    """Where along the axis the section is looked at, the middles there, and the radii of the circles."""
    along = np.linspace(-0.5, 0.5, _SECTIONS) * max(0.0, high - low - width) + (low + high) / 2
    places = middle.at + along[:, None] * middle.axis
    radii = nearest(mesh.bvh, places, np.full(_SECTIONS, limit_mm)).distance
    if radii.min() > radii.max() * (1 - TOLERANCE):
        # Of one section all along: the middle of one is that of all.
        return along, places, radii
    return along, *_widest(mesh, places, np.tile(middle.axis, (_SECTIONS, 1)), 2 * limit_mm, _STEPS + _FINE_STEPS)


def _section(mesh: Mesh, middle: _Middle) -> tuple[Ints, float] | None:
    """The faces that bound the section, seen from its middle, and how far they reach from it.

    None where it is a wall's, or goes on and on.
    """
    turns = np.arange(_RAYS) * 2 * np.pi / _RAYS
    ways: Floats = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ frame_of(middle.axis).T
    distance, face = first_hits(mesh.bvh, np.tile(middle.at, (_RAYS, 1)), ways)
    half = _RAYS // 2
    if not (distance[:half] + distance[half:] < _BROAD * 2 * middle.radius).all():
        return None
    facing = np.einsum("ij,ij->i", mesh.normals[face], ways)
    lean = np.abs(mesh.normals[face] @ middle.axis)
    if (facing <= 0).any() or (lean > _LEAN).any():
        return None
    return np.unique(face).astype(np.int32), float(distance.max())


def _ends(mesh: Mesh, middle: _Middle) -> tuple[float, float]:
    """How far the post reaches along its axis from the middle, to its top or to the face that it stands on."""
    turns = np.arange(_RAYS) * 2 * np.pi / _RAYS
    ways: Floats = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ frame_of(middle.axis).T
    distance, _ = first_hits(mesh.bvh, np.tile(middle.at, (_RAYS, 1)), ways)
    around = middle.at + ways * (distance + _BESIDE * middle.radius)[:, None]
    starts = np.concatenate([middle.at[None], around])
    reach = []
    for way in (-middle.axis, middle.axis):
        ahead, _ = first_hits(mesh.bvh, starts, np.tile(way, (len(starts), 1)))
        # A post with a draft ends no ray beside it: most of them must agree.
        reach.append(float(min(ahead[0], np.sort(ahead[1:])[_RAYS // 4])))
    return -reach[0], reach[1]


def _faces(
    mesh: Mesh,
    cells: Cells,
    widths: Widths,
    middle: _Middle,
    ends: tuple[float, float],
    sides: Ints,
    breadth: float,
) -> Ints:
    """All faces of the sides: those of the section, and those of the points around."""
    reach = _WIDER * breadth
    x = middle.at[0] + np.array(ends) * middle.axis[0]
    first, last = np.searchsorted(widths.point[:, 0], (x.min() - reach, x.max() + reach))
    from_middle = widths.point[first:last] - middle.at
    along = from_middle @ middle.axis
    near = np.flatnonzero((along > ends[0]) & (along < ends[1]))
    off = np.linalg.norm(from_middle[near] - along[near, None] * middle.axis, axis=1)
    near = first + near[off < reach]
    lean = np.abs(mesh.normals[widths.face[near]] @ middle.axis)
    near = near[lean < _LEAN]
    return cells.faces(np.concatenate([sides, widths.face[near]]))
