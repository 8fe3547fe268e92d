"""Everything measured on a body, made on first use and kept."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from lintsvc.measure.edges import shells
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.soundness import Soundness
from lintsvc.model.body import Body


class BodyMeasurements:
    """Measurements of one body. Rules read them; two rules that need the same cause one measurement.

    Face numbers are those of the file. Lengths are mm.
    """

    def __init__(self, body: Body) -> None:
        self.body = body

    @cached_property
    def mesh(self) -> Mesh:
        """The welded mesh."""
        return Mesh.of(self.body)

    @cached_property
    def soundness(self) -> Soundness:
        """Whether the mesh is the boundary of a solid, and where it is not."""
        return Soundness(self.mesh)

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
