"""Thin walls, pins, narrow gaps and holes: the places where a width is below a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.around import look_around
from lintsvc.measure.balls import INSIDE
from lintsvc.measure.creases import Creases, distance_to_segments
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.refine import refine
from lintsvc.measure.regions import regions
from lintsvc.measure.widths import SPACING_MM, Widths
from lintsvc.model.finding import Point3, Where

#: Two sides that open by more than this are no wall but an edge of a part, or a notch.
WALL_OPENS_DEG = 30.0
#: Sides that open by less run so slowly toward an edge that they are a wall all the same.
_NEARLY_PARALLEL_DEG = 4.0
#: An edge this sharp is one that a wall can run out to.
_SHARP_COSINE = -0.5
#: Twice as wide across as thick, and it is a post or a slot, no wall or gap.
_ROUND = 2.0
#: Widths within this factor are alike.
_ALIKE = 1.003
#: So many places, the thinnest, get their least width searched for; more are no help to anybody.
_REFINED = 200
#: Flagged points within this many spacings are one place.
_JOINED = 2.0


@dataclass(frozen=True, eq=False)
class Place:
    """One place that is too narrow, both of its sides together.

    `width_mm`: the least width. `span`: the two ends of that measure. `chord_mm`: how far off the
    facets of a curve may be there. `round`: about as wide across as thick: a pin, a post, a round
    hole. `length_mm`: the place's longest extent, `breadth_mm` the next. `area_mm2`: of one side.
    `rim_share`: the share of it that lies within a width of a rim or a floor: near 1 for low ribs and
    shallow grooves. `across_mm`: least width at right angles to the measure, where that is small.
    """

    width_mm: float
    span: tuple[Floats, Floats]
    chord_mm: float
    round: bool
    length_mm: float
    breadth_mm: float
    axis: Floats
    area_mm2: float
    rim_share: float
    across_mm: float
    faces: Ints
    #: The two faces of the least width.
    ends: tuple[int, int]
    box: tuple[Floats, Floats]

    def where(self) -> Where:
        """The place as a finding shows it."""
        a, b = _point(self.span[0]), _point(self.span[1])
        return Where(
            point=_point((self.span[0] + self.span[1]) / 2),
            box=(_point(self.box[0]), _point(self.box[1])),
            faces=tuple(self.faces.tolist()),
            span=(a, b),
        )


def _point(place: Floats) -> Point3:
    x, y, z = place.tolist()
    return (x, y, z)


def find_places(mesh: Mesh, creases: Creases, widths: Widths, limit_mm: float) -> list[Place]:
    """Return the places below the limit, thinnest first."""
    narrow = _walls_only(mesh, creases, widths.below(limit_mm, mesh.rounding_mm))
    if not len(narrow):
        return []
    around = look_around(mesh.bvh, narrow.centres(), narrow.normal, narrow.raw / 2)
    kept = np.flatnonzero(around.inside)
    narrow, rim, across = narrow.take(kept), around.rim[kept], around.across[kept]
    # A wall is as wide as it likes across; a pin is not.
    is_round = across < _ROUND * narrow.width
    near_rim = rim < narrow.width
    label, count = regions(
        mesh,
        narrow.point,
        narrow.face,
        narrow.contact,
        narrow.contact_face,
        is_round.astype(np.uint8),
        _JOINED * SPACING_MM,
    )
    order = np.lexsort((narrow.width, label))
    starts = np.searchsorted(label[order], np.arange(count + 1))
    least = narrow.take([_shown_at(narrow, order[starts[i] : starts[i + 1]]) for i in range(count)])
    worst = np.argsort(least.width)[:_REFINED]
    least = least.replaced(worst, refine(mesh, least.take(worst), -np.cos(np.radians(WALL_OPENS_DEG))))
    found = []
    for i in range(count):
        members = order[starts[i] : starts[i + 1]]
        points = narrow.take(members)
        found.append(_place(least.take([i]), points, is_round[members], near_rim[members], across[members]))
    return sorted(found, key=lambda x: x.width_mm)


def _shown_at(narrow: Widths, members: NDArray[np.intp]) -> int:
    """Of a region's points, sorted by width, one of the least: the one in the middle where many are alike."""
    alike = members[: np.searchsorted(narrow.width[members], narrow.width[members[0]] * _ALIKE, side="right")]
    points = narrow.point[alike]
    return int(alike[np.argmin(((points - points.mean(axis=0)) ** 2).sum(axis=1))])


def _place(
    least: Widths, points: Widths, is_round: NDArray[np.bool_], near_rim: NDArray[np.bool_], across: Floats
) -> Place:
    """Sum up one region."""
    ends = np.concatenate([points.point, points.contact])
    middle = ends.mean(axis=0)
    _, _, axes = np.linalg.svd(ends - middle, full_matrices=False) if len(ends) < 4000 else _axes(ends - middle)
    extents = np.ptp((ends - middle) @ axes.T, axis=0)
    longest = int(np.argmax(extents))
    weight = np.maximum(points.area, 1e-9)
    return Place(
        width_mm=float(least.width[0]),
        span=(least.point[0], least.contact[0]),
        chord_mm=float(least.chord[0]),
        round=bool(is_round[0]),
        length_mm=float(extents[longest]),
        breadth_mm=float(np.sort(extents)[-2]),
        axis=axes[longest],
        area_mm2=float(points.area.sum()) / 2,
        rim_share=float(weight @ near_rim / weight.sum()),
        across_mm=float(across.min()),
        faces=np.unique(np.concatenate([points.face, points.contact_face])),
        ends=(int(least.face[0]), int(least.contact_face[0])),
        box=(ends.min(axis=0), ends.max(axis=0)),
    )


def _axes(centred: Floats) -> tuple[None, None, Floats]:
    """Main axes of many points, as rows, without a large decomposition."""
    _, vectors = np.linalg.eigh(centred.T @ centred)
    return None, None, vectors.T[::-1]


def _walls_only(mesh: Mesh, creases: Creases, narrow: Widths) -> Widths:
    """Leave out what only narrows toward an edge: wide wedges, and slim ones that run out to a sharp edge."""
    narrow = narrow.take(np.flatnonzero(narrow.opposed <= -np.cos(np.radians(WALL_OPENS_DEG))))
    sharp = np.flatnonzero((creases.convex == (narrow.side == INSIDE)) & (creases.cosine <= _SHARP_COSINE))
    slim = np.flatnonzero(narrow.opposed > -np.cos(np.radians(_NEARLY_PARALLEL_DEG)))
    if not len(sharp) or not len(slim):
        return narrow
    wedge = narrow.take(slim)
    apex, reach = _apex(mesh, wedge)
    a, b = creases.ends(mesh, sharp)
    within = 0.25 * reach + 0.05
    runs_out = distance_to_segments(a, b, apex, within) < within
    keep = np.ones(len(narrow), bool)
    keep[slim[runs_out]] = False
    return narrow.take(np.flatnonzero(keep))


def _apex(mesh: Mesh, wedge: Widths) -> tuple[Floats, Floats]:
    """Where the two sides would meet, (n, 3), and how far from the point that is."""
    other = mesh.normals[wedge.contact_face]
    cosine = np.einsum("ij,ij->i", wedge.normal, other)
    toward = other - cosine[:, None] * wedge.normal
    sine = np.linalg.norm(toward, axis=1)
    parallel = sine < 1e-9
    sine[parallel] = 1.0
    toward = toward / sine[:, None]
    apart = np.abs(np.einsum("ij,ij->i", wedge.point - wedge.contact, other))
    reach = np.where(parallel, np.inf, apart / sine)
    # Infinitely far is no place: such points keep their own, and no edge is near enough to count.
    step = np.where(parallel, 0.0, reach)[:, None] * toward
    return wedge.point - wedge.side * step, np.where(parallel, 0.0, reach)
