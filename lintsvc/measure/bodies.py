"""Everything measured on a body, made on first use and kept."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from lintsvc.measure.balls import INSIDE, OUTSIDE
from lintsvc.measure.bores import Bore, find_bores
from lintsvc.measure.bulk import Bulk, find_bulk
from lintsvc.measure.creases import Creases, creases
from lintsvc.measure.details import Detail, find_details
from lintsvc.measure.edges import CROWDED, shells
from lintsvc.measure.escape import Hollow, find_hollows
from lintsvc.measure.knives import Knife, find_knives
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.openings import Opening, find_openings
from lintsvc.measure.panels import Panel, find_panels
from lintsvc.measure.place import Places
from lintsvc.measure.places import find_places
from lintsvc.measure.posts import find_posts
from lintsvc.measure.room import sides_of_box
from lintsvc.measure.sampling import Samples
from lintsvc.measure.self_crossing_lines import crossing_lines
from lintsvc.measure.self_crossing_pair import CROSSING
from lintsvc.measure.sides import Crossings, Sides, find_sides
from lintsvc.measure.solids import Solids, find_solids
from lintsvc.measure.soundness import Soundness
from lintsvc.measure.voids import Void, find_voids
from lintsvc.measure.wedges import runs_into
from lintsvc.measure.widths import Widths, measure_widths, usual_samples
from lintsvc.model.body import Body
from lintsvc.model.finding import Where
from lintsvc.model.part import NotMeasurable

#: Widths are measured up to this, mm, or to the limit and a margin where that is more: one measurement for all rules.
_NARROW_MM = 1.2
_MARGIN = 1.15
#: Openings that are not round are looked at up to this width, over the limits of all rules.
_WIDEST_OPENING_MM = 3.0
#: Places thinner than this share of the limit may only look like one, because the surface crosses itself there.
_DOUBTFUL = 0.25
#: A mesh of which more than this share of the faces cross others is no surface of a solid any more.
_MUDDLED = 1 / 3
#: From so many bodies on that is looked at first: each point would meet the walls of all of them.
_MANY_BODIES = 20
MUDDLED = "more than a third of the faces go through others or lie on them, so that material cannot be told from air"
#: A pin that was told over so much of its length is told.
_WHOLE = 0.8
#: Faces that reach no deeper through each other touch.
_THROUGH_MM = 0.001


class BodyMeasurements:
    """Measurements of one body. Rules read them; two rules that need the same cause one measurement.

    Face numbers are those of the file. Lengths are mm.
    """

    def __init__(self, body: Body) -> None:
        self.body = body
        self._widths: dict[float, Widths] = {}
        self._panels: dict[float, list[Panel]] = {}
        self._sides: dict[float, Sides] = {}
        self._places: dict[tuple[float, float], Places] = {}

    @cached_property
    def mesh(self) -> Mesh:
        """The welded mesh."""
        return Mesh.of(self.body)

    @cached_property
    def soundness(self) -> Soundness:
        """Whether the mesh is the boundary of a solid, and where it is not."""
        return Soundness(self.mesh, self.body.chord_error_mm or 0.0)

    @cached_property
    def _meant(self) -> BodyMeasurements:
        """The same with every face once, and turned to look outward: these measurements themselves where all are.

        Of a wall wound the wrong way the material would be air, and the air a wall. A body that stands twice in the
        file would lie on itself everywhere.
        """
        over, copies = self.soundness.turned, self.soundness.topology.copies
        if not over.any() and not len(copies):
            return self
        meant = BodyMeasurements(self.body)
        meant.mesh = self.mesh.turned(over, copies)
        return meant

    @property
    def triangles(self) -> int:
        """Faces in the file, degenerate ones too."""
        return len(self.mesh)

    @cached_property
    def _shells(self) -> tuple[Ints, int]:
        topology = self.soundness.topology
        return shells(self.mesh.mates) if len(topology.set_aside) else self.soundness.shells.labels

    @property
    def shell_of_face(self) -> Ints:
        """(m,) which connected shell a face belongs to."""
        return self._shells[0]

    @property
    def body_count(self) -> int:
        """Connected shells: faces that hang together over shared edges."""
        return self._shells[1]

    @cached_property
    def watertight(self) -> bool:
        """Every edge has exactly two faces. An empty mesh is not watertight."""
        mate = self.mesh.mates
        return len(mate) > 0 and bool((mate >= 0).all())

    @cached_property
    def volume_mm3(self) -> float:
        """Enclosed volume, faces that look the wrong way turned over. Means nothing for an open mesh."""
        return float(self._meant.shell_volumes.sum())

    @cached_property
    def shell_volumes(self) -> Floats:
        """(shells,) signed volume of each shell; negative for a void, or a shell turned inside out."""
        mesh = self.mesh
        if not len(mesh):
            return np.zeros(0)
        # About the middle of the box: a part far from the origin would lose digits.
        corners = (mesh.vertices - (mesh.box[0] + mesh.box[1]) / 2)[mesh.faces]
        sixfold = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
        return np.bincount(self.shell_of_face, weights=sixfold, minlength=self.body_count) / 6.0

    @cached_property
    def area_mm2(self) -> float:
        """Area of all faces."""
        return float(self.mesh.areas.sum())

    @cached_property
    def centre_mm(self) -> tuple[float, float, float]:
        """Middle of the surface, weighted by area: moves and turns with the part, whatever its triangles."""
        mesh = self.mesh
        if not len(mesh):
            return (0.0, 0.0, 0.0)
        middles = mesh.vertices[mesh.faces].mean(axis=1)
        total = float(mesh.areas.sum())
        x, y, z = middles.mean(axis=0) if total <= 0 else mesh.areas @ middles / total
        return (float(x), float(y), float(z))

    @cached_property
    def creases(self) -> Creases:
        """The edges of the design: those at which the surface turns."""
        return creases(self.mesh)

    @cached_property
    def solids(self) -> Solids:
        """Which faces bound the same material."""
        return find_solids(self.soundness.shells)

    def _tell_apart(self) -> None:
        """Raise NotMeasurable for a heap of bodies that go through each other: every face is somebody's wall there."""
        if not len(self.mesh):
            return
        crowded = float((self.mesh.mates <= CROWDED).mean())
        if (self.body_count > _MANY_BODIES or crowded > _MUDDLED) and self._muddled:
            raise NotMeasurable(MUDDLED)

    def thin_places(self, limit_mm: float) -> Places:
        """Walls and pins thinner than the limit, thinnest first."""
        self.mesh.begin_bvh()
        return self._meant._narrow(INSIDE, limit_mm)

    def narrow_places(self, limit_mm: float) -> Places:
        """Gaps and holes narrower than the limit, narrowest first."""
        self.mesh.begin_bvh()
        return self._meant._narrow(OUTSIDE, limit_mm)

    def knife_edges(self, limit_mm: float) -> list[Knife]:
        """Sharp edges by which the material is thinner than the limit, the farthest reach first."""
        return self._meant._knife_edges(limit_mm)

    def _knife_edges(self, limit_mm: float) -> list[Knife]:
        walls = self._widths_up_to(INSIDE, limit_mm)
        knives = find_knives(self.mesh, self.shell_of_face, self._samples.cells, self.creases, walls, limit_mm)
        if knives and self._crossings is not None:
            walls = walls.take(np.delete(np.arange(len(walls)), runs_into(self.mesh, walls, self._crossings.lines)))
            if self._muddled:
                raise NotMeasurable(MUDDLED)
            return find_knives(self.mesh, self.shell_of_face, self._samples.cells, self.creases, walls, limit_mm)
        return knives

    @cached_property
    def bores(self) -> list[Bore]:
        """Round holes, the narrowest first: true ones where the solid behind the triangles is known."""
        of_mesh = find_bores(self._meant.mesh)
        if self.body.exact is None:
            return of_mesh
        from lintsvc.measure.exact_bores import exact_bores

        exact = exact_bores(self.body)
        # Holes that slots cut open show only in the triangles.
        taken = np.zeros(len(self.mesh), bool)
        for bore in exact:
            taken[bore.faces] = True
        return sorted(exact + [x for x in of_mesh if not taken[x.faces].any()], key=lambda x: x.diameter_mm)

    @cached_property
    def openings(self) -> list[Opening]:
        """Small holes of any outline in flat faces that go through or are deeper than wide, the narrowest first; round
        ones are bores, and not among them."""
        return [x for x in find_openings(self._meant.mesh, _WIDEST_OPENING_MM) if not self._is_bore(x)]

    def _is_bore(self, opening: Opening) -> bool:
        return any(x.holds(point3((opening.low + opening.high) / 2)) for x in self.bores)

    def _narrow(self, side: float, limit_mm: float) -> Places:
        if (side, limit_mm) not in self._places:
            widths = self._widths_up_to(side, limit_mm * _MARGIN)
            if side not in self._sides:
                self._sides[side] = find_sides(self.mesh, self.creases, widths)
            places = self._found(self._sides[side], limit_mm)
            # So thin, it may be no wall at all but a surface that crosses itself.
            doubtful_mm = _DOUBTFUL * limit_mm
            if any(x.width_mm < doubtful_mm for x in places) and self._crossings is not None:
                if self._muddled:
                    raise NotMeasurable(MUDDLED)
                sure = self._found(self._sides[side].without(self.mesh, self._crossings, doubtful_mm), limit_mm)
                sure.crossed = max(0, len(places) + places.left_out - len(sure) - sure.left_out)
                places = sure
            if side == OUTSIDE:
                self._leave_folds(places)
            else:
                self._leave_skins(places)
                self._add_posts(places, widths, limit_mm)
            self._places[side, limit_mm] = places
        return self._places[side, limit_mm]

    def _add_posts(self, thin: Places, widths: Widths, limit_mm: float) -> None:
        """Add the posts that no two opposed sides tell, and take out what was told of a piece of one."""
        if thin.left_out:
            # Nobody reads so many places, and each post would take as long as ten of them.
            return
        walls = np.concatenate([np.empty(0, np.int32), *(x.faces for x in thin if not x.round)])
        posts = find_posts(self.mesh, self._samples.cells, self.solids, widths, limit_mm, walls)
        if not posts:
            return
        if self._crossings is not None:
            posts = [x for x in posts if not self._crossings.reach(x.where().point, x.width_mm)]
        for post in posts:
            pieces = [x for x in thin if x.round and np.isin(x.faces, post.faces).any()]
            whole = len(pieces) == 1 and pieces[0].slender and pieces[0].reach_mm > _WHOLE * post.length_mm
            if not whole:
                for piece in pieces:
                    thin.remove(piece)
                thin.append(post)
        thin.sort(key=lambda x: x.width_mm)

    def _leave_folds(self, gaps: Places) -> None:
        """Take out the gaps in which an open surface lies on itself: it has no inside to be outside of."""
        shells = self.soundness.shells
        touching = [x for x in gaps if x.width_mm < _THROUGH_MM and not x.between_bodies]
        folds = [x for x in touching if not shells.closed[shells.label[x.faces]].all()]
        for fold in folds:
            gaps.remove(fold)
        gaps.crossed += len(folds)

    def _leave_skins(self, walls: Places) -> None:
        """Take out the walls between two shells that touch: each may be thick beyond the other."""
        skins = [x for x in walls if x.width_mm < _THROUGH_MM and np.ptp(self.shell_of_face[x.faces]) > 0]
        for skin in skins:
            walls.remove(skin)
        walls.crossed += len(skins)

    def _found(self, sides: Sides, limit_mm: float) -> Places:
        return find_places(self.mesh, self._samples.cells, self.creases, self.solids, sides, limit_mm)

    @cached_property
    def _crossings(self) -> Crossings | None:
        """Where the surface crosses itself; None for nowhere."""
        contacts = self.soundness.contacts
        contacts = contacts.of(contacts.depth_mm > _THROUGH_MM)
        if not len(contacts):
            return None
        lying = np.zeros(len(self.mesh), bool)
        flat = contacts.kind != CROSSING
        lying[contacts.first[flat]] = lying[contacts.second[flat]] = True
        # Points are on the first face of their cell.
        lying[self._samples.cells.of_face[np.flatnonzero(lying)]] = True
        return Crossings(crossing_lines(self.mesh, contacts), lying)

    @cached_property
    def _muddled(self) -> bool:
        """So many faces cross others that no wall, gap or detail can be told from the surface crossing itself."""
        contacts = self.soundness.contacts
        if not contacts.complete:
            return True
        found = np.zeros(len(self.mesh), bool)
        found[contacts.of(contacts.depth_mm > _THROUGH_MM).faces] = True
        for double in self.soundness.topology.doubles:
            found[double] = True
        return bool(found.sum() > _MUDDLED * len(self.mesh))

    @cached_property
    def _samples(self) -> Samples:
        return usual_samples(self.mesh)

    def _widths_up_to(self, side: float, cap_mm: float) -> Widths:
        self._tell_apart()
        have = self._widths.get(side)
        if have is None or have.cap_mm < cap_mm:
            have = measure_widths(self.mesh, self._samples, self.creases, self.solids, side, max(cap_mm, _NARROW_MM))
            self._widths[side] = have
            self._sides.pop(side, None)
        return have

    @cached_property
    def voids(self) -> list[Void]:
        """Closed hollows within the body, largest first."""
        return find_voids(self._meant.mesh, self._meant.soundness.shells)

    def hollows(self, ball_mm: float, least_mm3: float) -> list[Hollow]:
        """Hollows that a ball cannot leave, the largest first; closed voids are not among them."""
        meant = self._meant
        meant._tell_apart()
        return find_hollows(meant.mesh, meant.soundness.shells, meant.solids, ball_mm, least_mm3)

    def thick_places(self, limit_mm: float) -> list[Bulk]:
        """Places in which a ball wider than the limit fits, widest first."""
        meant = self._meant
        meant._tell_apart()
        return find_bulk(meant.mesh, meant.soundness.topology, meant.solids, limit_mm)

    def details(self, limit_mm: float) -> list[Detail]:
        """Raised and sunk detail lower than the limit, the lowest first."""
        meant = self._meant
        meant._tell_apart()
        found = find_details(meant.mesh, limit_mm)
        if found and meant._muddled:
            raise NotMeasurable(MUDDLED)
        return found

    def panels(self, thickest_mm: float) -> list[Panel]:
        """Flat walls up to the given thickness, the largest first."""
        meant = self._meant
        meant._tell_apart()
        if thickest_mm not in self._panels:
            self._panels[thickest_mm] = find_panels(meant.mesh, thickest_mm)
        return self._panels[thickest_mm]

    def sides_of_box(self, room_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        """Sides, longest first, of a box around the part, turned to fit best into a room of the given sides."""
        return sides_of_box(self.mesh, room_mm)

    def everywhere(self) -> Where:
        """The whole part, as the place of a finding."""
        low, high = self.mesh.box
        return Where(point=self.centre_mm, box=(point3(low), point3(high)))
