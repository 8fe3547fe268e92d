"""The triangle mesh that all measurements of a body share."""

from __future__ import annotations

from contextlib import suppress
from functools import cached_property
from threading import Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bvh import Bvh
from lintsvc.measure.compiled import compiled, in_parts, threads
from lintsvc.measure.edges import mates, turns_at
from lintsvc.measure.same_objects import as_one
from lintsvc.measure.topology_seams import close_seams
from lintsvc.measure.weld import weld
from lintsvc.model.body import Body

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

#: A face lower than this many times the rounding of its coordinates has no normal worth using.
ROUNDINGS_OF_A_NORMAL = 30.0
#: Ends of open edges this close, as a share of the largest coordinate, are one place: 1e-17 beside 0. Far
#: finer than a step of single precision, so that what a file states in its own digits stays apart.
SHARE_OF_A_SEAM = 1e-10
#: From so many faces on another thread is worth while for the tree.
_BUILT_BESIDE = 20_000


class Mesh:
    """Welded vertices, and faces in the file's order, degenerate ones kept: face numbers are the report's.

    `vertices`: (n, 3) float64, mm. Places that are exactly equal are one vertex, within one object of the
    file, or within objects that stand in one place as if they were one; two objects that touch stay apart. At
    open edges noise far below the file's digits does not count. `faces`: (m, 3) int32.
    `rounding_mm`: how far a coordinate may be off by the precision that it was stored in.
    """

    def __init__(self, vertices: NDArray[Any], faces: NDArray[Any], rounding_mm: float = 0.0) -> None:
        # Writable, though nothing writes: Numba compiles every kernel again for arrays that are not.
        self.vertices: Floats = np.require(vertices, np.float64, ["C", "W"])
        self.faces: Ints = np.require(faces, np.int32, ["C", "W"])
        self.rounding_mm = rounding_mm
        self._building: Thread | None = None

    @classmethod
    def of(cls, body: Body) -> Mesh:
        """Weld the triangles of a body."""
        points, faces = body.vertices, body.faces
        tags: Ints | None = None
        if body.face_object is not None and len(body.object_names) != 1 and np.ptp(body.face_object) > 0:
            points = points[faces.ravel()]
            tags = np.repeat(as_one(points.reshape(-1, 3, 3), body.face_object), 3).astype(np.int32)
            faces = np.arange(len(points), dtype=np.int32).reshape(-1, 3)
        first, place = weld(points, tags)
        vertices = points[first].astype(np.float64)
        corners_in_order = len(points) == faces.size and bool((faces.ravel() == np.arange(faces.size)).all())
        welded = place.reshape(-1, 3) if corners_in_order else place[faces]
        largest = float(np.abs(vertices).max()) if len(vertices) else 0.0
        mesh = cls(vertices, welded, largest * (2.0**-24 if body.single_precision else 2.0**-50))
        mesh._close_seams(largest * SHARE_OF_A_SEAM, None if tags is None else tags[first])
        return mesh

    def _close_seams(self, reach: float, tags: Ints | None) -> None:
        """Join vertices of open edges that are one place but for noise far below the file's digits."""
        closed = close_seams(self.vertices, self.faces, self.mates, reach, tags)
        if closed is not None:
            self.faces, self.__dict__["mates"] = closed

    def turned(self, over: NDArray[np.bool_], gone: Ints) -> Mesh:
        """The same with some of its faces turned over, (m,) True for those, and others gone. Face numbers stay.

        A face that is gone is a point, which lies on the face that it was a copy of.
        """
        faces = turned_over(self.faces, over)
        faces[gone] = faces[gone][:, :1]
        return Mesh(self.vertices, faces, self.rounding_mm)

    def __len__(self) -> int:
        """How many faces there are."""
        return len(self.faces)

    @cached_property
    def _shapes(self) -> tuple[Floats, Floats]:
        normals = np.empty((len(self), 3))
        areas = np.empty(len(self))
        lowest = self.rounding_mm * ROUNDINGS_OF_A_NORMAL
        in_parts(_shapes, len(self), self.vertices, self.faces, lowest, normals, areas)
        return normals, areas

    @property
    def normals(self) -> Floats:
        """(m, 3) unit normals by winding; (0, 0, 0) for a degenerate face or one too thin to have a direction."""
        return self._shapes[0]

    @property
    def areas(self) -> Floats:
        """(m,) areas, mm2."""
        return self._shapes[1]

    @cached_property
    def mates(self) -> Ints:
        """(3 m,) the other half-edge at each half-edge; see `measure.edges.mates`."""
        return mates(self.faces, len(self.vertices))

    @cached_property
    def turns(self) -> NDArray[np.float32]:
        """(3 m,) by how many degrees the surface turns at each half-edge, positive where the body is hollow (an
        inside corner), negative at outside corners; 0 at open and crowded edges and beside faces without a normal."""
        turns = np.empty(3 * len(self), np.float32)
        in_parts(turns_at, len(turns), self.vertices, self.faces, self.normals, self.mates, turns)
        return turns

    @cached_property
    def bvh(self) -> Bvh:
        """The one tree over the faces that every kernel walks."""
        if self._building is not None:
            self._building.join()
            self._building = None
        return self.__dict__.pop("_built", None) or Bvh.build(self.vertices, self.faces, self.normals)

    def begin_bvh(self) -> None:
        """Have the tree of a large mesh built by a thread of its own, while others do what is one thread's work."""
        if len(self) < _BUILT_BESIDE or "bvh" in self.__dict__ or self._building is not None or threads() < 2:
            return
        normals = self.normals

        def build() -> None:
            # What goes wrong here goes wrong once more where the tree is wanted, and is raised there.
            with suppress(Exception):
                self.__dict__["_built"] = Bvh.build(self.vertices, self.faces, normals)

        building = Thread(target=build)
        # A fenced process may be denied new threads.
        with suppress(RuntimeError):
            building.start()
            self._building = building

    @cached_property
    def box(self) -> tuple[Floats, Floats]:
        """Lowest and highest corner of the box around the faces; zeros for an empty mesh."""
        if not len(self):
            return np.zeros(3), np.zeros(3)
        used = self.vertices[self.faces.ravel()] if len(self.faces) * 3 < len(self.vertices) else self.vertices
        return used.min(axis=0), used.max(axis=0)

    @property
    def size(self) -> float:
        """Length of the box's diagonal, mm."""
        low, high = self.box
        return float(np.linalg.norm(high - low))


def turned_over(faces: Ints, over: NDArray[np.bool_]) -> Ints:
    """Faces (m, 3), some of them, (m,) True for those, wound the other way."""
    turned = faces.copy()
    turned[over] = turned[over][:, ::-1]
    return turned


def frame_of(axis: Floats) -> Floats:
    """(3, 2) two columns at right angles to a unit vector and to each other."""
    # NumPy's own product takes many times as long for two vectors alone.
    x, y, z = axis.tolist()
    a, b, c = np.eye(3)[np.abs(axis).argmin()].tolist()
    across = np.array([y * c - z * b, z * a - x * c, x * b - y * a])
    across /= np.linalg.norm(across)
    a, b, c = across.tolist()
    return np.array([across, [y * c - z * b, z * a - x * c, x * b - y * a]]).T


def point3(place: Any) -> tuple[float, float, float]:
    """An array of three numbers as a plain tuple."""
    x, y, z = place.tolist()
    return (x, y, z)


@compiled
def _shapes(start: int, stop: int, vertices: Any, faces: Any, lowest: float, normals: Any, areas: Any) -> None:
    """Fill in unit normals and areas. A face whose height is under `lowest` gets no normal."""
    for i in range(start, stop):
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        wx = vx - ux
        wy = vy - uy
        wz = vz - uz
        x = uy * vz - uz * vy
        y = uz * vx - ux * vz
        z = ux * vy - uy * vx
        double = np.sqrt(x * x + y * y + z * z)
        longest = np.sqrt(max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz))
        areas[i] = double / 2
        if double > 0 and double > lowest * longest:
            normals[i, 0] = x / double
            normals[i, 1] = y / double
            normals[i, 2] = z / double
        else:
            normals[i, 0] = 0.0
            normals[i, 1] = 0.0
            normals[i, 2] = 0.0
