"""A mesh while it is mended. Steps never change one in place: each gives a new draft and says what it did."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.self_crossing import ROUNDINGS_OF_A_CONTACT, Contacts, contacts
from lintsvc.measure.shells import Shells
from lintsvc.measure.topology import Bools, Topology
from lintsvc.model.body import Body


@dataclass(frozen=True, eq=False)
class Draft:
    """Vertices (n, 3), faces (m, 3) and the object (m,) that each face belongs to. `reach`: how far rounding may
    put two writings of one place apart, mm.
    """

    vertices: Floats
    faces: Ints
    objects: Ints
    reach: float

    @classmethod
    def of(cls, body: Body) -> Draft:
        """Weld a body; within its objects only."""
        mesh = Mesh.of(body)
        objects = np.zeros(len(mesh), np.int32) if body.face_object is None else body.face_object.astype(np.int32)
        largest = float(np.abs(mesh.vertices).max(initial=0.0))
        return cls(mesh.vertices, mesh.faces, objects, 4.0 * max(mesh.rounding_mm, largest * 2.0**-24))

    @cached_property
    def mesh(self) -> Mesh:
        """The draft as a mesh to measure."""
        return Mesh(self.vertices, self.faces, self.reach / 4.0)

    @cached_property
    def topology(self) -> Topology:
        """How its faces hang together."""
        return Topology(self.mesh)

    @cached_property
    def contacts(self) -> Contacts:
        """Its faces that cross or lie on each other."""
        return contacts(self.mesh, ROUNDINGS_OF_A_CONTACT * self.mesh.rounding_mm)

    @cached_property
    def pieces(self) -> Shells:
        """Its shells, those that touch along an edge apart."""
        return Shells(self.mesh, self.topology, found=lambda: self.contacts, apart=True)

    @cached_property
    def vertex_objects(self) -> Ints:
        """(n,) the object of each vertex, for no two objects share one; -1 for a vertex of no face."""
        owner = np.full(len(self.vertices), -1, np.int32)
        owner[self.faces.ravel()] = np.repeat(self.objects, 3)
        return owner

    def keep(self, kept: Bools) -> Draft:
        """Only these faces."""
        return replace(self, faces=self.faces[kept], objects=self.objects[kept])

    def renamed(self, faces: Ints) -> Draft:
        """The same faces on other vertices."""
        return replace(self, faces=np.ascontiguousarray(faces, np.int32))

    def with_faces(self, faces: Ints, objects: Ints) -> Draft:
        """More faces, put after the others."""
        return replace(
            self,
            faces=np.concatenate([self.faces, faces]).astype(np.int32),
            objects=np.concatenate([self.objects, objects]).astype(np.int32),
        )
