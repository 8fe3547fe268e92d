"""Everything measured on a body, made on first use and kept."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from lintsvc.measure.balls import INSIDE, OUTSIDE
from lintsvc.measure.bores import Bore, find_bores
from lintsvc.measure.bulk import Bulk, find_bulk
from lintsvc.measure.creases import Creases, creases
from lintsvc.measure.details import Detail, find_details
from lintsvc.measure.edges import shells
from lintsvc.measure.escape import Hollow, find_hollows
from lintsvc.measure.knives import Knife, find_knives
from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.panels import Panel, find_panels
from lintsvc.measure.place import Places
from lintsvc.measure.places import find_places
from lintsvc.measure.room import sides_of_box
from lintsvc.measure.sampling import Samples
from lintsvc.measure.sides import Sides, find_sides
from lintsvc.measure.solids import Solids, find_solids
from lintsvc.measure.soundness import Soundness
from lintsvc.measure.voids import Void, find_voids
from lintsvc.measure.widths import Widths, measure_widths, usual_samples
from lintsvc.model.body import Body
from lintsvc.model.finding import Where

#: Widths are measured up to this, mm, or to the limit and a margin where that is more: one measurement for all rules.
_NARROW_MM = 1.2
_MARGIN = 1.15


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

    @property
    def triangles(self) -> int:
        """Faces in the file, degenerate ones too."""
        return len(self.mesh)

    @cached_property
    def _shells(self) -> tuple[Ints, int]:
        return shells(self.mesh.mates)

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
        """Enclosed volume by winding: negative for a mesh turned inside out. Means nothing for an open one."""
        return float(self.shell_volumes.sum())

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

    def thin_places(self, limit_mm: float) -> Places:
        """Walls and pins thinner than the limit, thinnest first."""
        return self._narrow(INSIDE, limit_mm)

    def narrow_places(self, limit_mm: float) -> Places:
        """Gaps and holes narrower than the limit, narrowest first."""
        return self._narrow(OUTSIDE, limit_mm)

    def knife_edges(self, limit_mm: float) -> list[Knife]:
        """Sharp edges by which the material is thinner than the limit, the farthest reach first."""
        walls = self._widths_up_to(INSIDE, limit_mm)
        return find_knives(self.mesh, self._samples.cells, self.creases, walls, limit_mm)

    @cached_property
    def bores(self) -> list[Bore]:
        """Round holes, the narrowest first."""
        return find_bores(self.mesh)

    def _narrow(self, side: float, limit_mm: float) -> Places:
        if (side, limit_mm) not in self._places:
            widths = self._widths_up_to(side, limit_mm * _MARGIN)
            if side not in self._sides:
                self._sides[side] = find_sides(self.mesh, self.creases, widths)
            self._places[side, limit_mm] = find_places(
                self.mesh, self._samples.cells, self.creases, self.solids, self._sides[side], limit_mm
            )
        return self._places[side, limit_mm]

    @cached_property
    def _samples(self) -> Samples:
        return usual_samples(self.mesh)

    def _widths_up_to(self, side: float, cap_mm: float) -> Widths:
        have = self._widths.get(side)
        if have is None or have.cap_mm < cap_mm:
            have = measure_widths(self.mesh, self._samples, self.creases, self.solids, side, max(cap_mm, _NARROW_MM))
            self._widths[side] = have
            self._sides.pop(side, None)
        return have

    @cached_property
    def voids(self) -> list[Void]:
        """Closed hollows within the body, largest first."""
        return find_voids(self.mesh, self.soundness.shells)

    def hollows(self, ball_mm: float, least_mm3: float) -> list[Hollow]:
        """Hollows that a ball cannot leave, the largest first; closed voids are not among them."""
        return find_hollows(self.mesh, self.soundness.shells, self.solids, ball_mm, least_mm3)

    def thick_places(self, limit_mm: float) -> list[Bulk]:
        """Places in which a ball wider than the limit fits, widest first."""
        return find_bulk(self.mesh, limit_mm)

    def details(self, limit_mm: float) -> list[Detail]:
        """Raised and sunk detail lower than the limit, the lowest first."""
        return find_details(self.mesh, limit_mm)

    def panels(self, thickest_mm: float) -> list[Panel]:
        """Flat walls up to the given thickness, the largest first."""
        if thickest_mm not in self._panels:
            self._panels[thickest_mm] = find_panels(self.mesh, thickest_mm)
        return self._panels[thickest_mm]

    def sides_of_box(self, room_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        """Sides, longest first, of a box around the part, turned to fit best into a room of the given sides."""
        return sides_of_box(self.mesh, room_mm)

    def everywhere(self) -> Where:
        """The whole part, as the place of a finding."""
        low, high = self.mesh.box
        return Where(point=self.centre_mm, box=(point3(low), point3(high)))
