"""The boundary of the material as directed sides, material on their left, ready for measuring across it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_segments import Segments
from lintsvc.measure.flat_weld import Floats, Ints

#: Points of a contour may move by this much when it is drawn finer than the search needs.
_SIMPLER_MM = 0.001
#: At the tip of a tongue, or the end of a slot, directions this close to square count as square:
#: one that tapers by less is measured there.
ACROSS = np.radians(10.0)
#: Elsewhere directions are exact but for rounding.
_HAIR = np.radians(0.1)
#: Corners that turn by less are points of a flattened curve.
SMOOTH = np.radians(25.0)


@dataclass(frozen=True, eq=False)
class Boundary:
    """Sides of all contours but single circles, material on the left.

    `a`, `b` (m, 2) ends of a side; `contour` (m,); `region` (m,): number of the contour that bounds the
    material from outside; `before`, `after` (m,): the neighbouring sides; `curve` (m,): curve of the
    drawing; `way` (m,): how far along its contour a side starts; `around` (m,): the contour's length.
    `normal` (m, 2) into the material. At the start of each side: `turn` (m,) is the angle by which the
    boundary turns left, in radians; `bisector` (m, 2) points out of the corner on its wide side.
    """

    a: Floats
    b: Floats
    contour: Ints
    region: Ints
    before: Ints
    after: Ints
    curve: Ints
    way: Floats
    around: Floats
    normal: Floats
    turn: Floats
    bisector: Floats

    def __len__(self) -> int:
        return len(self.contour)

    def segments(self) -> Segments:
        """The sides as segments with a search tree."""
        me = np.arange(len(self))
        return Segments(self.a, self.b, self.curve, me, self.after)

    def may_leave(self, corner: Ints, way: Floats, side: int) -> NDArray[np.bool_]:
        """True where the direction `way` (n, 2) leaves the start of side `corner` (n,) square across.

        `side` 1: into the material, −1: out of it. Where the corner's wide side is that way, any direction
        between its two normals is square to it; else it is square to one of them and leads into the corner.
        """
        turn = np.abs(self.turn[corner])
        wide = self.turn[corner] * side < 0
        fan = (way * self.bisector[corner]).sum(axis=1) >= np.cos(np.minimum(np.pi, turn / 2 + _HAIR))
        one = side * (way * self.normal[corner]).sum(axis=1)
        other = side * (way * self.normal[self.before[corner]]).sum(axis=1)
        curved = np.minimum(one, other) >= np.cos(turn + _HAIR)
        tip = (np.maximum(one, other) >= np.cos(ACROSS)) & (np.minimum(one, other) >= -1e-6)
        result: NDArray[np.bool_] = np.where(wide, fan, np.where(turn < SMOOTH, curved, tip))
        return result

    def squarest(self, corner: Ints, way: Floats, side: int) -> Ints:
        """Return, of the two sides that meet at the start of side `corner`, the one that `way` is squarer to."""
        before = self.before[corner]
        here = side * (way * self.normal[corner]).sum(axis=1)
        there = side * (way * self.normal[before]).sum(axis=1)
        # By order where both are alike, so that ways of one pair of sides come together.
        return np.where(here > there + 1e-9, corner, np.where(there > here + 1e-9, before, np.minimum(corner, before)))


def region_of(contour: Contour) -> int:
    """Return the number of the contour that bounds, from outside, the material beside this one."""
    if contour.role == "cutout" and contour.parent is not None:
        return contour.parent
    return contour.number


def boundary_of(contours: Sequence[Contour], reach_mm: float = 0.0) -> Boundary:
    """Return the boundary. Contours with far more points than a search to `reach_mm` needs are simplified."""
    chosen = [x for x in contours if x.circle is None]
    drawn = [_simpler(x, reach_mm) for x in chosen]
    counts = np.array([len(p) for p, _ in drawn], np.int64)
    total = int(counts.sum())
    first = np.repeat(np.cumsum(counts) - counts, counts)
    count = np.repeat(counts, counts)
    me = np.arange(total)
    after, before = first + (me - first + 1) % count, first + (me - first - 1) % count
    # Contours run counter-clockwise; around a cutout that leaves the material on the right.
    back = np.repeat(np.array([x.role == "cutout" for x in chosen], bool), counts)
    mirror = 2 * first + count - 1 - me
    # Reversed, the side after a point is the one that was before it.
    a = np.concatenate([p for p, _ in drawn])[np.where(back, mirror, me)] if total else np.zeros((0, 2))
    curve = np.concatenate([c for _, c in drawn])[np.where(back, before[mirror], me)] if total else me
    b = a[after]
    step = b - a
    long = np.hypot(*step.T)
    unit = step / np.maximum(long, 1e-300)[:, None]
    run = np.cumsum(long) - long
    way = run - run[first] if total else run
    around = np.repeat(np.add.reduceat(long, np.cumsum(counts) - counts), counts) if total else long
    come = unit[before]
    sine = come[:, 0] * unit[:, 1] - come[:, 1] * unit[:, 0]
    angle = np.arctan2(sine, (come * unit).sum(axis=1))
    out = come - unit
    bisector = out / np.maximum(np.hypot(*out.T), 1e-300)[:, None]
    return Boundary(
        a=a,
        b=b,
        contour=np.repeat(np.array([x.number for x in chosen], np.int64), counts),
        region=np.repeat(np.array([region_of(x) for x in chosen], np.int64), counts),
        before=before,
        after=after,
        curve=curve,
        way=way,
        around=around,
        normal=np.column_stack([-unit[:, 1], unit[:, 0]]),
        turn=angle,
        bisector=bisector,
    )


def _simpler(contour: Contour, reach_mm: float) -> tuple[Floats, Ints]:
    """Return a contour's points and curves, without points that lie on the line between others if it has very many."""
    points, curves = contour.ring, contour.curves
    # Some forty neighbours a side are quick; hundreds are not.
    if len(points) < 200 or contour.length_mm > len(points) * reach_mm / 40:
        return points, curves
    import shapely

    closed = shapely.LineString(np.vstack([points, points[:1]]))
    kept = shapely.get_coordinates(shapely.simplify(closed, _SIMPLER_MM, preserve_topology=False))[:-1]
    if len(kept) < 3:
        return points, curves
    stays = np.isin(points[:, 0] + 1j * points[:, 1], kept[:, 0] + 1j * kept[:, 1])
    return points[stays], curves[stays]
