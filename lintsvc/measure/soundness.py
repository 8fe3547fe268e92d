"""Is the mesh the boundary of a solid? Each way in which it is not, as defects with a place."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.caps import capped
from lintsvc.measure.facets import Facets, facets, heights
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.self_crossing import ROUNDINGS_OF_A_CONTACT, Contacts, contacts
from lintsvc.measure.self_crossing_lines import crossing_lines, overlap_middle
from lintsvc.measure.self_crossing_pair import BACK_TO_BACK, CROSSING
from lintsvc.measure.shells import Shells, edge_numbers
from lintsvc.measure.soundness_defects import LINES, Defect, at_edges, at_faces, worst_first
from lintsvc.measure.topology import Topology
from lintsvc.measure.topology_groups import components, over_corners

#: A face no higher than this many roundings of its coordinates has its corners on one line.
ROUNDINGS_OF_A_LINE = 2.0
#: Two curved surfaces that fit each other and were cut into faces here reach through each other by so many
#: times the chord error: each corner of one may pass the other's flats, seen across two of them.
CHORD_ERRORS_OF_A_CONTACT = 4.0

Defects = tuple[Defect, ...]
Rows = NDArray[np.int64]


class Soundness:
    """Measurements of one mesh, made on first use.

    Lists of defects come worst first; the tail of a long list is told in one. Face numbers are the report's.
    """

    def __init__(self, mesh: Mesh, chord_error_mm: float = 0.0) -> None:
        """`chord_error_mm`: how far the faces may lie off the true surface, where they were made here."""
        self.mesh = mesh
        self.chord_error_mm = chord_error_mm
        self.topology = Topology(mesh)
        self.shells = Shells(mesh, self.topology, found=self._contacts)

    @cached_property
    def pieces(self) -> Shells:
        """The shells, bodies that touch along an edge apart: each of them has a way to face of its own.

        So has a shell with a small hole; here it is closed, by faces after those of the mesh.
        """
        if len(self.topology.open):
            closed = capped(self.mesh, self.topology)
            if len(closed.hangs_on):
                return Shells(closed.mesh, Topology(closed.mesh), apart=True)
        if not len(self.topology.crowded):
            return self.shells
        return Shells(self.mesh, self.topology, found=self._contacts, apart=True)

    @cached_property
    def rounding_mm(self) -> float:
        """How far a coordinate may be off. Never better than single precision: text files are written with as much."""
        return max(self.mesh.rounding_mm, self.farthest_mm * 2.0**-24)

    @cached_property
    def heights(self) -> Floats:
        """(m,) lowest height of each face, mm."""
        return heights(self.mesh)

    @cached_property
    def facets(self) -> Facets:
        """Flat facets and their chord deviation."""
        return facets(self.mesh, self.topology.mates)

    def _contacts(self) -> Contacts:
        # A method: measurements are kept, and what is made in place cannot be written down.
        return self.contacts

    @cached_property
    def contacts(self) -> Contacts:
        """Pairs of counted faces that cross or lie on each other."""
        found = contacts(self.mesh, ROUNDINGS_OF_A_CONTACT * self.rounding_mm)
        counted = self.topology.counted
        return found.of(counted[found.first] & counted[found.second])

    @cached_property
    def open_edges(self) -> Defects:
        """One for each connected run of open edges. Value: its length, mm. Kind `hole` for a plain ring, else `rim`."""
        topology, mesh = self.topology, self.mesh
        half = topology.open
        ends = topology.ends(half)
        label = over_corners(ends)
        lengths = np.linalg.norm(mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]], axis=1)

        def make(rows: Rows) -> Defect:
            _, times = np.unique(ends[rows], return_counts=True)
            return Defect(
                at_edges(mesh, ends[rows], half[rows] // 3), 0.0, len(rows), "hole" if (times == 2).all() else "rim"
            )

        return worst_first(label, np.bincount(label, lengths), mesh.vertices[ends].mean(axis=1), make)

    @cached_property
    def non_manifold_edges(self) -> Defects:
        """One for each connected run of edges with more than two faces. Value: most faces on one edge.

        Kind `touch` when as many faces run out along each edge as back: solids that touch there.
        """
        topology, mesh = self.topology, self.mesh
        half = topology.crowded
        ends = topology.ends(half)
        edge = edge_numbers(ends)
        faces_on = np.bincount(edge)
        way = np.where(ends[:, 0] < ends[:, 1], 1.0, -1.0) * self.shells.sign[half // 3]
        even = np.bincount(edge, weights=way) == 0
        label = over_corners(ends)
        most = np.zeros(int(label.max(initial=-1)) + 1)
        np.maximum.at(most, label, faces_on[edge])

        def make(rows: Rows) -> Defect:
            edges, first = np.unique(edge[rows], return_index=True)
            where = at_edges(mesh, ends[rows[first]], half[rows] // 3, on_edge=True)
            return Defect(where, 0.0, len(edges), "touch" if even[edges].all() else "branch")

        return worst_first(label, most, mesh.vertices[ends].mean(axis=1), make)

    @cached_property
    def flipped(self) -> Defects:
        """One for each connected group of faces wound against the rest of their surface. Value: area, mm2."""
        return self._by_area(np.flatnonzero(self.pieces.against[: len(self.mesh)]))

    @cached_property
    def twisted(self) -> Defects:
        """One for each surface that cannot be wound one way, like a Möbius strip. Value: area, mm2."""
        topology = self.topology
        bad = np.isin(topology.patch, np.flatnonzero(topology.twisted))
        return self._by_area(np.flatnonzero(bad), topology.patch)

    @cached_property
    def inside_out(self) -> Defects:
        """One for each shell, closed but for small holes, that encloses less than nothing.

        Value: its volume, mm3, positive.
        """
        pieces = self.pieces
        return self._of_shells(pieces, np.flatnonzero(pieces.inside_out), -pieces.volume)

    @cached_property
    def turned(self) -> NDArray[np.bool_]:
        """(m,) True for faces that look the wrong way: against their surface, or with a shell to be turned over."""
        return self.pieces.over[: len(self.mesh)]

    @cached_property
    def flat(self) -> NDArray[np.bool_]:
        """(m,) True for faces without area: two corners on one vertex, or all three on one line."""
        flat: NDArray[np.bool_] = self.heights <= ROUNDINGS_OF_A_LINE * self.rounding_mm
        flat[self.topology.collapsed] = True
        return flat

    @cached_property
    def degenerate(self) -> Defects:
        """All faces without area, in one. Value: how many they are."""
        faces = np.flatnonzero(self.flat)
        if not len(faces):
            return ()
        return (replace(self._of_faces(faces), value=float(len(faces))),)

    @cached_property
    def doubles(self) -> Defects:
        """One for each connected group of faces that lie on each other corner for corner. Value: faces too many.

        Kind `same` when they all face one way, `opposed` when they do not. Faces without area are left out:
        they are degenerate, whatever lies on them.
        """
        topology = self.topology
        groups = [x for x in topology.doubles if not self.flat[x[0]]]
        if not groups:
            return ()
        faces = np.concatenate(groups)
        sizes = np.array([len(x) for x in groups])
        alike = np.repeat([bool(topology.turns(x).all()) for x in groups], sizes)
        spare = np.ones(len(faces))
        spare[np.cumsum(sizes) - sizes] = 0.0
        # Same and opposed ones stay apart even where they touch.
        label = over_corners(self.mesh.faces[faces] * 2 + alike[:, None])

        def make(rows: Rows) -> Defect:
            return self._of_faces(faces[rows], "same" if alike[rows].all() else "opposed")

        return worst_first(label, np.bincount(label, spare), self._middles(faces), make)

    def fragments(self, limit_mm: float) -> Defects:
        """Shells apart from all others, less than `limit_mm` long, beside a larger one. Value: length, mm.

        Length is the largest distance between two corners. Not a void in a solid, nor a shell that touches
        or crosses another.
        """
        shells = self.shells
        if shells.count < 2:
            return ()
        group = shells.touching
        length = shells.lengths(group, limit_mm)
        loose = (length < limit_mm) & (np.bincount(group, shells.around != 0, len(length)) == 0)
        if not loose.any() or (length < limit_mm).all():
            return ()
        meetings = self.contacts.of(self._meetings[0])
        loose[group[shells.label[meetings.first]]] = False
        loose[group[shells.label[meetings.second]]] = False
        faces = np.flatnonzero((shells.label >= 0) & loose[group[shells.label]])
        label = np.unique(group[shells.label[faces]], return_inverse=True)[1].reshape(-1)
        return worst_first(label, length[loose], self._middles(faces), lambda rows: self._of_faces(faces[rows]))

    @cached_property
    def pinched(self) -> Defects:
        """One for each vertex in which sheets of surface meet and not along an edge. Value: faces there."""
        mesh, vertices = self.mesh, self.topology.pinched
        if not len(vertices):
            return ()
        value = np.bincount(mesh.faces[self.topology.counted].ravel(), minlength=len(mesh.vertices))[vertices]

        def make(rows: Rows) -> Defect:
            faces = np.flatnonzero(np.isin(mesh.faces, vertices[rows]).any(axis=1) & self.topology.counted)
            return Defect(at_faces(mesh, faces, point=mesh.vertices[vertices[rows[0]]]), 0.0, len(faces))

        return worst_first(np.arange(len(vertices)), value, mesh.vertices[vertices], make)

    def _deep(self, limit_mm: float) -> NDArray[np.bool_]:
        """Which of `contacts` go deeper than a limit, and than the chord error of surfaces cut into faces here."""
        deep: NDArray[np.bool_] = self.contacts.depth_mm > max(
            limit_mm, CHORD_ERRORS_OF_A_CONTACT * self.chord_error_mm
        )
        return deep

    @cached_property
    def _meetings(self) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
        """Which of `contacts` are between different shells; and for those the number of their pair of shells."""
        first, second = self.shells.label[self.contacts.first], self.shells.label[self.contacts.second]
        between = first != second
        return between, edge_numbers(np.stack([first[between], second[between]], axis=1))

    def _through(self, limit_mm: float) -> NDArray[np.bool_]:
        """Which of `contacts` are between shells that go through each other there, not just touch back to back."""
        through: NDArray[np.bool_] = self._meetings[0] & self._deep(limit_mm) & (self.contacts.kind != BACK_TO_BACK)
        return through

    def crossings(self, limit_mm: float = 0.0) -> Defects:
        """One for each connected place where one shell crosses or folds onto itself. Value: depth, mm.

        Kind `crossing`, `doubled` (on each other, facing one way) or `folded` (facing opposite ways).
        """
        within = self.contacts.of(~self._meetings[0] & self._deep(limit_mm))
        if not len(within):
            return ()
        faces = within.faces
        first, second = np.searchsorted(faces, within.first), np.searchsorted(faces, within.second)
        # Faces hang together over a common corner, or by crossing each other.
        touching = over_corners(self.mesh.faces[faces])
        count = len(faces)
        groups = components(
            count + int(touching.max()) + 1,
            np.concatenate([np.arange(count), first]),
            np.concatenate([count + touching, second]),
        )
        return self._of_contacts(within, np.unique(groups[first], return_inverse=True)[1].reshape(-1))

    def overlaps(self, limit_mm: float = 0.0) -> Defects:
        """One for each two shells that go through each other. Value: depth, mm."""
        through = self._through(limit_mm)
        pair = self._meetings[1][through[self._meetings[0]]]
        return self._of_contacts(self.contacts.of(through), np.unique(pair, return_inverse=True)[1].reshape(-1))

    def touches(self, limit_mm: float = 0.0) -> Defects:
        """All shells that touch others over an area and go no deeper, in one. Value: how many pairs they are."""
        between, pair = self._meetings
        gone_through = np.zeros(int(pair.max(initial=-1)) + 1, bool)
        gone_through[pair[self._through(limit_mm)[between]]] = True
        chosen = self.contacts.of(between).of(~gone_through[pair])
        if not len(chosen):
            return ()
        whole = self._of_contacts(chosen, np.zeros(len(chosen), np.int64))[0]
        return (replace(whole, value=float((~gone_through).sum())),)

    def nested(self, limit_mm: float = 0.0) -> Defects:
        """One for each closed shell that faces outward within a solid and crosses nothing. Value: volume, mm3."""
        shells, through = self.shells, self.contacts.of(self._through(limit_mm))
        wrong = shells.closed & shells.placed & (shells.around + shells.way > 1)
        wrong[shells.label[through.first]] = False
        wrong[shells.label[through.second]] = False
        return self._of_shells(shells, np.flatnonzero(wrong), shells.volume)

    def slivers(self, limit_mm: float) -> Defects:
        """All faces lower than `limit_mm` that are not degenerate, in one. Value: the lowest height, mm."""
        faces = np.flatnonzero((self.heights < limit_mm) & ~self.flat)
        if not len(faces):
            return ()
        worst = faces[np.argmin(self.heights[faces])]
        where = at_faces(self.mesh, faces, point=self._middles(np.array([worst]))[0])
        return (Defect(where, float(self.heights[worst]), len(faces)),)

    def coarse(self, limit_mm: float) -> Defects:
        """One for each connected curved region whose facets deviate by more than `limit_mm`.

        Value: largest chord deviation, mm. `more`: the radius there.
        """
        found = self.facets
        faces = np.flatnonzero((found.deviation_mm > limit_mm)[found.label])
        label = over_corners(self.mesh.faces[faces])
        worst = np.zeros(int(label.max(initial=-1)) + 1)
        np.maximum.at(worst, label, found.deviation_mm[found.label[faces]])

        def make(rows: Rows) -> Defect:
            facet = found.label[faces[rows]]
            most = int(np.argmax(found.deviation_mm[facet]))
            where = at_faces(self.mesh, faces[rows], point=self._middles(faces[rows[most : most + 1]])[0])
            return Defect(where, 0.0, len(np.unique(facet)), more=float(found.radius_mm[facet[most]]))

        return worst_first(label, worst, self._middles(faces), make)

    def fine(self, limit_mm: float) -> int:
        """How many faces are smaller than a square of side `limit_mm` cut in two."""
        return int((self.mesh.areas < limit_mm * limit_mm / 2).sum())

    @cached_property
    def farthest_mm(self) -> float:
        """Largest distance from the origin along an axis."""
        low, high = self.mesh.box
        return float(max(np.abs(low).max(), np.abs(high).max()))

    def _middles(self, faces: NDArray[Any]) -> Floats:
        middles: Floats = self.mesh.vertices[self.mesh.faces[faces]].mean(axis=1)
        return middles

    def _of_faces(self, faces: NDArray[Any], kind: str = "") -> Defect:
        return Defect(at_faces(self.mesh, faces), 0.0, len(faces), kind)

    def _by_area(self, faces: NDArray[Any], of_face: NDArray[Any] | None = None) -> Defects:
        """Faces in connected groups, or in groups by `of_face`, by area."""
        label = over_corners(self.mesh.faces[faces])
        if of_face is not None:
            label = np.unique(of_face[faces], return_inverse=True)[1].reshape(-1).astype(np.int32)
        value = np.bincount(label, self.mesh.areas[faces])
        return worst_first(label, value, self._middles(faces), lambda rows: self._of_faces(faces[rows]))

    def _of_shells(self, shells: Shells, chosen: NDArray[np.int64], value: Floats) -> Defects:
        """Whole shells; their point lies on the largest face."""
        middles = shells.mesh.vertices[shells.mesh.faces[shells.largest[chosen]]].mean(axis=1)

        def make(rows: Rows) -> Defect:
            faces = np.flatnonzero(np.isin(shells.label[: len(self.mesh)], chosen[rows]))
            return Defect(at_faces(self.mesh, faces, point=middles[rows[0]]), 0.0, len(faces))

        return worst_first(np.arange(len(chosen)), value[chosen], middles, make)

    def _of_contacts(self, found: Contacts, label: NDArray[np.int64]) -> Defects:
        """Pairs of faces by group, by depth; the place is that of the deepest pair."""
        deepest = np.zeros(int(label.max(initial=-1)) + 1)
        np.maximum.at(deepest, label, found.depth_mm)

        def make(rows: Rows) -> Defect:
            pairs = found.of(rows[np.argsort(-found.depth_mm[rows], kind="stable")])
            lines = crossing_lines(self.mesh, pairs.of(slice(LINES)))
            kinds = set(pairs.kind.tolist())
            kind = "crossing" if CROSSING in kinds else "folded" if kinds == {BACK_TO_BACK} else "doubled"
            # The middle of a line of crossing is surely on both; else the middle of the deepest overlap.
            middle = lines[0].mean(axis=0) if len(lines) else overlap_middle(self.mesh, pairs.first[0], pairs.second[0])
            faces = pairs.faces
            return Defect(at_faces(self.mesh, faces, point=middle, lines=lines), 0.0, len(faces), kind)

        return worst_first(label, deepest, (self._middles(found.first) + self._middles(found.second)) / 2, make)
