"""Solids into triangles that remember the face they lie on. Neighbouring faces meet in the same points."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.collections import (
    IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher as ShapeMap,
)
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
from OCP.gp import gp_Pnt
from OCP.IMeshTools import IMeshTools_MeshAlgoType, IMeshTools_Parameters
from OCP.TopAbs import TopAbs_FACE, TopAbs_FORWARD, TopAbs_REVERSED, TopAbs_SOLID
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from lintsvc.model.body import Body
from lintsvc.model.part import ReadNote, Unreadable
from lintsvc.readers.step_names import NamedCylinder
from lintsvc.readers.step_shapes import Placed, explored
from lintsvc.readers.triangles import MAX_TRIANGLES, too_many

#: Distance of the triangles from the true surface: this share of the longest side, between the two bounds (mm).
_CHORD_SHARE, _CHORD_LEAST_MM, _CHORD_MOST_MM = 1e-4, 0.005, 0.1
#: Angle that one triangle may span on a curved face, in the mesher's own count: twice of what comes out for holes.
#: Sees to small holes and roundings, for which the distance above is coarse. Walls of 0.5 mm beside bores, tubes and
#: balls of 1 to 6 mm come out within 0.2 % in parts of up to 900 mm; with 0.7 one was 9 % thin.
_ANGLE_RAD = 0.5
#: Looking into a face is slow: this many points, and no more than so many faces.
_SAMPLES = 40
_LOOKED_INTO = 25


@dataclass(frozen=True, eq=False)
class ExactBody:
    """The exact shapes behind a body.

    `solids`: placed solids, in mm, in the order of the body's objects. `faces[i]`: the exact face
    that triangles with `face_patch` i lie on. `named`: round faces that the file names.
    """

    solids: tuple[Any, ...]
    faces: tuple[Any, ...]
    named: tuple[NamedCylinder, ...] = ()


@dataclass(frozen=True, eq=False)
class _Mesh:
    """One solid at its own origin, as its faces are turned; inside out where the volume is negative."""

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    patch: NDArray[np.int32]
    chord: float

    @cached_property
    def volume(self) -> float:
        """Volume between the triangles."""
        a, b, c = np.moveaxis(self.vertices[self.faces] - self.vertices.mean(axis=0), 1, 0)
        return float((a * np.cross(b, c)).sum() / 6)


def triangulated(placed: Placed, notes: list[ReadNote]) -> tuple[Body, tuple[float, float, float]]:
    """Return the body, its solids' outsides out, and the exact size of the box around it.

    Raises Unreadable for faces that come to nothing.
    """
    longest = max(placed.rough_size_mm())
    chord = round(min(max(_CHORD_SHARE * longest, _CHORD_LEAST_MM), _CHORD_MOST_MM), 4)
    known = ShapeMap()
    meshes: list[_Mesh] = []
    vertices: list[NDArray[np.float64]] = []
    faces: list[NDArray[np.int32]] = []
    patch: list[NDArray[np.int32]] = []
    exact: list[Any] = []
    shapes: list[Any] = []
    vertex_count = triangle_count = turned = 0
    for given in placed.shapes:
        here = given.Location()
        at_origin = given.Located(TopLoc_Location()).Oriented(TopAbs_FORWARD)
        number = known.Add(at_origin)
        if number > len(meshes):
            meshes.append(_mesh(at_origin, chord))
        mesh = meshes[number - 1]
        triangle_count += len(mesh.faces)
        if triangle_count > MAX_TRIANGLES:
            raise too_many(triangle_count)
        right = given.Orientation()
        if given.ShapeType() == TopAbs_SOLID:
            right = TopAbs_FORWARD if mesh.volume >= 0 else TopAbs_REVERSED
            turned += right != given.Orientation()
        shape = given.Oriented(right)
        shapes.append(shape)
        vertices.append(_moved(mesh.vertices, here))
        corners = mesh.faces[:, ::-1] if right == TopAbs_REVERSED else mesh.faces
        faces.append(corners + np.int32(vertex_count))
        patch.append(mesh.patch + np.int32(len(exact)))
        exact.extend(explored(shape, TopAbs_FACE))
        vertex_count += len(mesh.vertices)
    if turned:
        text = f"{turned} solids of the STEP file are inside out; they were turned."
        notes.append(ReadNote("recovered", text, count=turned))
    counts = [len(x) for x in faces]
    several = len(counts) > 1
    body = Body(
        np.concatenate(vertices),
        np.concatenate(faces),
        np.repeat(np.arange(len(counts), dtype=np.int32), counts) if several else None,
        placed.names if several else (),
        face_patch=np.concatenate(patch),
        # The mesher does not always keep what it was asked for; it says what it reached.
        chord_error_mm=round(max(chord, *(mesh.chord for mesh in meshes)), 4),
        exact=ExactBody(tuple(shapes), tuple(exact)),
    )
    return body, _size(body, tuple(exact))


def _size(body: Body, exact: tuple[Any, ...]) -> tuple[float, float, float]:
    """Extents along the axes, exact: curved faces that reach the outermost triangles are asked themselves."""
    assert body.face_patch is not None
    assert body.chord_error_mm is not None
    corner = body.vertices[body.faces]
    starts = np.concatenate(([0], np.flatnonzero(np.diff(body.face_patch)) + 1))
    low = np.minimum.reduceat(corner.min(axis=1), starts)
    high = np.maximum.reduceat(corner.max(axis=1), starts)
    near = 2 * body.chord_error_mm
    asked = (low <= low.min(axis=0) + near).any(axis=1) | (high >= high.max(axis=0) - near).any(axis=1)
    box = Bnd_Box()
    for number in body.face_patch[starts][asked].tolist():
        BRepBndLib.AddOptimal_s(exact[number], box, False, False)
    # Without the room that the kernel leaves around what it measured.
    box.SetGap(0.0)
    bottom, top = box.CornerMin(), box.CornerMax()
    x, y, z = (round(float(a), 9) for a in (top.X() - bottom.X(), top.Y() - bottom.Y(), top.Z() - bottom.Z()))
    return x, y, z


def _mesh(shape: Any, chord: float) -> _Mesh:
    wanted = IMeshTools_Parameters()
    wanted.Deflection, wanted.Angle = chord, _ANGLE_RAD
    # Several times as fast as the default on plates with hundreds of holes, with the same triangles.
    wanted.MeshAlgo = IMeshTools_MeshAlgoType.IMeshTools_MeshAlgoType_Delabella
    BRepMesh_IncrementalMesh(shape, wanted)
    vertices: list[NDArray[np.float64]] = []
    faces: list[NDArray[np.int32]] = []
    patch: list[int] = []
    start = 0
    empty = number = looked_into = 0
    reached = 0.0
    for face in explored(shape, TopAbs_FACE):
        location = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(TopoDS.Face(face), location)
        count = 0 if mesh is None else mesh.NbTriangles()
        if count:
            node, triangle = mesh.Node, mesh.Triangle
            nodes = _moved(np.array([node(i).Coord() for i in range(1, mesh.NbNodes() + 1)]), location)
            triangles = np.array([triangle(i).Get() for i in range(1, count + 1)], np.int32) - np.int32(1)
            # A mirroring location turns the winding over, as a reversed face does.
            mirrored = not location.IsIdentity() and location.Transformation().IsNegative()
            if (face.Orientation() == TopAbs_REVERSED) != mirrored:
                triangles = triangles[:, ::-1]
            # At poles and tips the mesher makes triangles of no width; leaving them out opens nothing.
            corner = nodes[triangles]
            thin = (corner == corner[:, [2, 0, 1]]).all(axis=2).any(axis=1)
            triangles = triangles[~thin]
            count = len(triangles)
            vertices.append(nodes)
            faces.append(triangles + np.int32(start))
            start += len(nodes)
            # The mesher's own figure is a bound, at times ten times the truth: a large one is looked into.
            far = float(mesh.Deflection())
            if far > 2 * chord and looked_into < _LOOKED_INTO:
                looked_into += 1
                far = _distance(face, nodes[triangles])
            reached = max(reached, far)
        else:
            empty += 1
        patch.append(count)
        number += 1
    if empty:
        raise Unreadable(
            f"{empty} of the {number} faces of a STEP solid could not be triangulated: the solid is damaged.",
            remedy="Repair the body in the CAD program, or export it as 3MF or STL.",
        )
    owner = np.repeat(np.arange(number, dtype=np.int32), patch)
    return _Mesh(np.concatenate(vertices), np.concatenate(faces), owner, float(reached))


def _distance(face: Any, corners: NDArray[np.float64]) -> float:
    """Largest distance from a face of a sample of its triangles' middles and of their edges'."""
    surface = BRep_Tool.Surface_s(TopoDS.Face(face))
    points = np.concatenate([corners.mean(axis=1), *((corners[:, i] + corners[:, i - 1]) / 2 for i in range(3))])
    points = points[:: max(1, len(points) // _SAMPLES)]
    distances = [0.0]
    for x, y, z in points.tolist():
        nearest = GeomAPI_ProjectPointOnSurf(gp_Pnt(x, y, z), surface)
        if nearest.NbPoints():
            distances.append(float(nearest.LowerDistance()))
    return max(distances)


def _moved(vertices: NDArray[np.float64], location: Any) -> NDArray[np.float64]:
    if location.IsIdentity():
        return vertices
    move = location.Transformation()
    matrix = np.array([[move.Value(row, column) for column in range(1, 5)] for row in range(1, 4)])
    return np.asarray(vertices @ matrix[:, :3].T + matrix[:, 3])
