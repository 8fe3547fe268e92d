"""Connected shells: which way they face, what they enclose, and which lies in which."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled
from lintsvc.measure.edges import shells
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.self_crossing import ROUNDINGS_OF_A_CONTACT, Contacts, contacts
from lintsvc.measure.self_crossing_pair import BACK_TO_BACK
from lintsvc.measure.shells_winding import winding
from lintsvc.measure.topology import Bools, Topology
from lintsvc.measure.topology_groups import by_label, components

#: A point just inside a shell is this share of the part's size off its face, at least so many roundings.
_STEP = 1e-7
_ROUNDINGS_OF_A_STEP = 40.0
#: A point of a face as shares of its corners, no simple ones.
_INNER = np.array([0.43071, 0.35714, 0.21215])
#: With more corners than this not every pair is measured.
_MOST_POINTS = 800
#: A shell that encloses less than this many roundings of its faces' places encloses nothing.
_ROUNDINGS_OF_A_VOLUME = 8.0
#: Faces of two shells that reach no deeper through each other than this, mm, touch.
_THROUGH_MM = 0.001


class Shells:
    """The shells of a mesh: counted faces that hang together over edges, crowded ones too.

    `apart`: pieces of surface that are closed by themselves are shells of their own even where they touch others
    along an edge. Each of them has a way to face of its own.
    """

    def __init__(
        self,
        mesh: Mesh,
        topology: Topology,
        *,
        found: Callable[[], Contacts] | None = None,
        apart: bool = False,
    ) -> None:
        """`found`: gives the faces of the mesh that meet, where somebody keeps them."""
        self.mesh = mesh
        self.topology = topology
        self._found = found
        self._apart = apart

    @cached_property
    def labels(self) -> tuple[Ints, int]:
        """The shell of each face, -1 for faces that do not count, and how many shells there are."""
        label, count = shells(self.topology.mates)
        if self._apart and len(self.topology.crowded):
            label, count = self._apart_at_edges(label)
        if not len(self.topology.set_aside):
            return label, count
        # Faces set aside are shells of their own there: leave them out and number the rest anew.
        label = label.copy()
        label[self.topology.set_aside] = -1
        used, new = np.unique(label, return_inverse=True)
        label = new.astype(np.int32) - 1
        return label, len(used) - 1

    def _apart_at_edges(self, label: Ints) -> tuple[Ints, int]:
        """Give each closed piece of surface a label of its own."""
        topology = self.topology
        whole = topology.twisted == 0
        whole[topology.patch[topology.open // 3]] = False
        half = topology.crowded
        ends, piece = topology.ends(half), topology.patch[half // 3]
        way = np.where(ends[:, 0] < ends[:, 1], 1.0, -1.0) * (1.0 - 2.0 * topology.side[half // 3])
        # One number for each edge of each piece: as many of its faces run out along it as back, or it is not closed.
        place = np.unique(np.stack([edge_numbers(ends), piece], axis=1), axis=0, return_inverse=True)[1].reshape(-1)
        uneven = np.bincount(place, weights=way) != 0
        whole[piece[uneven[place]]] = False
        own = (topology.patch >= 0) & np.append(whole, False)[topology.patch]
        number = np.where(own, int(label.max(initial=-1)) + 1 + topology.patch, label)
        # By lowest face number, as the others are.
        _, first, place = np.unique(number, return_index=True, return_inverse=True)
        rank = np.empty(len(first), np.int32)
        rank[np.argsort(first)] = np.arange(len(first))
        return rank[place.reshape(-1)], len(first)

    @property
    def label(self) -> Ints:
        """(m,) the shell of each face; -1 for faces that do not count."""
        return self.labels[0]

    @property
    def count(self) -> int:
        """How many shells there are."""
        return self.labels[1]

    @cached_property
    def _mixed(self) -> Bools:
        """(patches,) True for pieces of surface that are wound both ways, and could be wound one way."""
        topology = self.topology
        mixed = np.zeros(len(topology.twisted), bool)
        mixed[topology.patch[topology.side == 1]] = True
        mixed &= topology.twisted == 0
        return mixed

    @cached_property
    def _by_majority(self) -> Floats:
        """As `sign`, each piece of surface by the larger part of its area."""
        topology = self.topology
        sign = (topology.patch >= 0).astype(np.float64)
        if self._mixed.any():
            members = np.flatnonzero((topology.patch >= 0) & self._mixed[topology.patch])
            patch, side = topology.patch[members], topology.side[members]
            areas = np.bincount(2 * patch + side, self.mesh.areas[members], 2 * len(self._mixed)).reshape(-1, 2)
            fewer = areas[:, 1] <= areas[:, 0]
            sign[members[side == fewer[patch]]] = -1.0
        return sign

    @cached_property
    def _turned(self) -> Bools:
        """(count,) True for shells wound both ways that lie in the open air and whose larger part faces inward.

        There is no doubt which way such a shell should face, however few of its faces do.
        """
        turned = np.zeros(self.count, bool)
        if self._mixed.any():
            pieces = np.unique(np.stack([self.label, self.topology.patch], axis=1), axis=0)
            pieces = pieces[pieces[:, 0] >= 0]
            single = np.bincount(pieces[:, 0], minlength=self.count) == 1
            turned[pieces[self._mixed[pieces[:, 1]], 0]] = True
            turned &= single & self.closed & (self._sums[0] < 0)
            if turned.any():
                way = np.sign(self._sums[0])
                turned &= self._around(self._by_majority, way, np.abs(way), turned) == 0
        return turned

    @cached_property
    def sign(self) -> Floats:
        """(m,) -1 for faces wound against the way that their surface should face, else 1; 0 for those not counted."""
        if not self._turned.any():
            return self._by_majority
        return np.where(self._turned[self.label] & (self.label >= 0), -self._by_majority, self._by_majority)

    @property
    def against(self) -> Bools:
        """(m,) True for faces wound against the rest of their surface."""
        return self.sign < 0

    @cached_property
    def _sums(self) -> tuple[Floats, Floats, Floats, Ints]:
        volume = np.zeros(self.count)
        area = np.zeros(self.count)
        box = np.concatenate([np.full((self.count, 3), np.inf), np.full((self.count, 3), -np.inf)], axis=1)
        largest = np.full(self.count, -1, np.int32)
        mesh = self.mesh
        _sum(mesh.vertices, mesh.faces, mesh.areas, self.label, self._by_majority, volume, area, box, largest)
        return volume, area, box, largest

    @cached_property
    def volume(self) -> Floats:
        """(count,) mm3 enclosed, each shell wound one way; negative for a void, or a shell turned inside out.

        Means nothing for an open shell.
        """
        return np.where(self._turned, -self._sums[0], self._sums[0])

    @property
    def area(self) -> Floats:
        """(count,) mm2."""
        return self._sums[1]

    @property
    def box(self) -> Floats:
        """(count, 6) low and high corners, mm."""
        return self._sums[2]

    @property
    def largest(self) -> Ints:
        """(count,) the face of largest area."""
        return self._sums[3]

    @cached_property
    def closed(self) -> Bools:
        """(count,) True for shells that enclose something: no open edge, and at crowded edges as many out as back."""
        topology = self.topology
        closed = np.ones(self.count, bool)
        closed[self.label[topology.open // 3]] = False
        crowded = topology.crowded
        if len(crowded):
            ends = topology.ends(crowded)
            group = edge_numbers(ends)
            way = np.where(ends[:, 0] < ends[:, 1], 1.0, -1.0) * self._by_majority[crowded // 3]
            uneven = np.bincount(group, weights=way) != 0
            closed[self.label[crowded[uneven[group]] // 3]] = False
        twisted = np.flatnonzero(topology.twisted)
        if len(twisted):
            closed[self.label[np.isin(topology.patch, twisted)]] = False
        return closed

    @cached_property
    def around(self) -> Ints:
        """(count,) how many times closed shells wind around each shell, counted just inside it, but for those that it
        goes through.

        0 in the open air, 1 within a solid, 0 again for an island in a void. Open shells get 0.
        """
        return np.nan_to_num(self._winding).astype(np.int32)

    @property
    def placed(self) -> Bools:
        """(count,) False for shells among so many others that what lies around them was not found."""
        placed: Bools = ~np.isnan(self._winding)
        return placed

    @cached_property
    def way(self) -> Floats:
        """(count,) 1 for shells that face outward, -1 inward, 0 where as much lies on one side as on the other."""
        noise = _ROUNDINGS_OF_A_VOLUME * self.mesh.rounding_mm * self.area
        way: Floats = np.where(np.abs(self.volume) > noise, np.sign(self.volume), 0.0)
        return way

    @cached_property
    def group(self) -> Ints:
        """(count,) label of the shells that go through each other, each but for touching; where none faces inward each
        its own.

        What goes through a shell lies within it by a part only: it bounds no void of it, nor it one of that.
        """
        alone = np.arange(self.count, dtype=np.int32)
        if self.count < 2 or not (self.closed & (self._sums[0] < 0)).any():
            return alone
        found = self._found() if self._found else contacts(self.mesh, ROUNDINGS_OF_A_CONTACT * self.mesh.rounding_mm)
        first, second = self.label[found.first], self.label[found.second]
        # Back to back solids touch. One that faces inward then has what it touches inside it, if it is no void of that.
        out = self._sums[0] > 0
        inner, outer = np.where(out[first], second, first), np.where(out[first], first, second)
        low, high = self.box[:, :3], self.box[:, 3:]
        void = (low[inner] >= low[outer]).all(axis=1) & (high[inner] <= high[outer]).all(axis=1)
        touch = (found.kind == BACK_TO_BACK) & ((out[first] == out[second]) | void)
        through = (first != second) & ~touch & (found.depth_mm > _THROUGH_MM) & (first >= 0) & (second >= 0)
        return components(self.count, first[through], second[through])

    @cached_property
    def at_odds(self) -> Bools:
        """(count,) True for shells that go through others of which not all face one way."""
        out, back = self.closed & (self.way > 0), self.closed & (self.way < 0)
        odd: Bools = (np.bincount(self.group, out, self.count) > 0) & (np.bincount(self.group, back, self.count) > 0)
        return odd[self.group]

    @cached_property
    def inside_out(self) -> Bools:
        """(count,) True for closed shells that enclose less than nothing."""
        wrong: Bools = self.closed & self.placed & (self.around + self.way < 0)
        return wrong

    @cached_property
    def to_turn(self) -> Bools:
        """(count,) True for closed shells that are to be turned over: those inside out, and all that lie within one.

        In a mirrored copy a void faces outward: it stays a void only if it is turned with what is around it.
        """
        to_turn: Bools = self.inside_out | (self.closed & self.placed & (self.around < 0))
        return to_turn

    @cached_property
    def over(self) -> Bools:
        """(m,) True for faces that look the wrong way: against their surface, or with a shell to be turned over."""
        over: Bools = self.against
        if self.to_turn.any():
            over = over ^ np.append(self.to_turn, False)[self.label]
        return over

    @cached_property
    def _winding(self) -> Floats:
        return self._around(self.sign, np.ones(self.count), np.sign(self.volume), self.closed)

    def _around(self, sign: Floats, worth: Floats, ways: Floats, wanted: Bools) -> Floats:
        """Winding around the `wanted` shells, each closed shell counted `worth` times its sign; NaN as `winding`.

        `ways`: what each counts around a point in it, so.
        """
        found = np.zeros(self.count)
        chosen = np.flatnonzero(wanted).astype(np.int32)
        if self.count < 2 or not len(chosen):
            return found
        mesh = self.mesh
        face = self.largest[chosen]
        inward = -np.sign(self._sums[0][chosen]) * self._by_majority[face]
        points = beside(mesh, face, inward)
        weight = np.where(self.label >= 0, sign * (self.closed * worth)[self.label], 0.0)
        group = np.where(self.label >= 0, self.group[self.label], np.int32(-1)).astype(np.int32)
        found[chosen] = np.rint(winding(mesh, points, self.group[chosen], group, weight))
        for i in np.flatnonzero(np.abs(found) > 0).tolist():
            # A void whose walls lie in those of its solid is before the point, and yet not around the solid.
            if not self._boxes_around(i, self.closed & (ways * found[i] > 0)):
                found[i] = 0.0
        return found

    def _boxes_around(self, shell: int, of: Bools) -> bool:
        """Whether the box of a shell lies in that of another, of some."""
        low, high = self.box[:, :3], self.box[:, 3:]
        within = (low <= low[shell]).all(axis=1) & (high >= high[shell]).all(axis=1) & of
        within[shell] = False
        return bool(within.any())

    def winding(self, points: Floats) -> Ints:
        """Return (n,) how often the closed shells wind around each of (n, 3) points: 0 in the open or in a void."""
        if not self.count:
            return np.zeros(len(points), np.int32)
        # No shell has this number: none is left out.
        none = np.full(len(points), -2, np.int32)
        weight = np.where(self.label >= 0, self.sign * self.closed[self.label], 0.0)
        found = winding(self.mesh, points, none, self.label, weight)
        # Where it was given up a point counts as within a solid: nothing is then said of the air there.
        return np.rint(np.nan_to_num(found, nan=1.0)).astype(np.int32)

    @cached_property
    def touching(self) -> Ints:
        """(count,) label of the shells that hang together over a vertex at least."""
        corners, label = self.mesh.faces.ravel(), np.repeat(self.label, 3)
        # Whichever shell comes last at a vertex stands for all that meet there.
        owner = np.full(len(self.mesh.vertices), -1, np.int32)
        counted = label >= 0
        corners, label = corners[counted], label[counted]
        owner[corners] = label
        others = owner[corners]
        meet = others != label
        return components(self.count, others[meet], label[meet])

    def lengths(self, group: Ints, up_to_mm: float) -> Floats:
        """Return the largest distance between two corners of each group of shells; infinite where surely longer.

        `group`: (count,) numbers from 0. Only groups whose box is shorter than `up_to_mm` are measured.
        """
        count = int(group.max(initial=-1)) + 1
        low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
        np.minimum.at(low, group, self.box[:, :3])
        np.maximum.at(high, group, self.box[:, 3:])
        result = np.full(count, np.inf)
        short = (high - low).max(axis=1) < up_to_mm
        faces = np.flatnonzero((self.label >= 0) & short[group[self.label]])
        for rows in by_label(group[self.label[faces]]):
            points = self.mesh.vertices[np.unique(self.mesh.faces[faces[rows]])]
            if len(points) > _MOST_POINTS:
                # The farthest from the middle, and the farthest from that: never too long.
                points = points[
                    [int(np.linalg.norm(points - points.mean(axis=0), axis=1).argmax()), *range(len(points))]
                ]
                length = np.linalg.norm(points - points[0], axis=1).max()
            else:
                length = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2).max())
            result[group[self.label[faces[rows[0]]]]] = length
        return result


def beside(mesh: Mesh, faces: NDArray[Any], way: Floats) -> Floats:
    """Return a point just off each of (k,) faces, on the side that it looks to where `way` is 1, on the other at -1.

    Not off the middle: what is drawn on a grid has edges of others there.
    """
    step = max(mesh.size * _STEP, mesh.rounding_mm * _ROUNDINGS_OF_A_STEP)
    inner = np.einsum("k,ikj->ij", _INNER, mesh.vertices[mesh.faces[faces]])
    points: Floats = inner + step * way[:, None] * mesh.normals[faces]
    return points


def edge_numbers(ends: NDArray[Any]) -> NDArray[np.int64]:
    """Number the edges given by (k, 2) vertices, the same number for the same two vertices in either order."""
    if not len(ends):
        return np.zeros(0, np.int64)
    low, high = ends.min(axis=1).astype(np.int64), ends.max(axis=1).astype(np.int64)
    return np.unique(low << 32 | high, return_inverse=True)[1].reshape(-1)


@compiled
def _sum(
    vertices: Any, faces: Any, areas: Any, label: Any, sign: Any, volume: Any, area: Any, box: Any, largest: Any
) -> None:
    """Add up volume, area and box of every shell, each about a vertex of its own, so that no digits are lost."""
    base = np.zeros((volume.shape[0], 3))
    for i in range(faces.shape[0]):
        s = label[i]
        if s < 0:
            continue
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        if largest[s] < 0:
            largest[s] = i
            for k in range(3):
                base[s, k] = vertices[a, k]
        if areas[i] > areas[largest[s]]:
            largest[s] = i
        area[s] += areas[i]
        for k in range(3):
            box[s, k] = min(box[s, k], vertices[a, k], vertices[b, k], vertices[c, k])
            box[s, k + 3] = max(box[s, k + 3], vertices[a, k], vertices[b, k], vertices[c, k])
        ax = vertices[a, 0] - base[s, 0]
        ay = vertices[a, 1] - base[s, 1]
        az = vertices[a, 2] - base[s, 2]
        bx = vertices[b, 0] - base[s, 0]
        by = vertices[b, 1] - base[s, 1]
        bz = vertices[b, 2] - base[s, 2]
        cx = vertices[c, 0] - base[s, 0]
        cy = vertices[c, 1] - base[s, 1]
        cz = vertices[c, 2] - base[s, 2]
        six = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        volume[s] += sign[i] * six / 6.0
