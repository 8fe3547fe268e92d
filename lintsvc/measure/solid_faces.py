"""The faces of an exact solid, told apart by shape, and the edges between them. Lengths mm.

Faces that are stored as free-form surfaces and are in truth planes, cylinders or cones count as what
they are (OpenCASCADE's canonical recognition). Works on the B-rep of the kernel behind `Body.exact`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.collections import (
    IndexedDataMap_TopoDS_Shape_List_TopoDS_Shape_TopTools_ShapeMapHasher as EdgeMap,
)
from OCP.collections import (
    IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher as ShapeMap,
)
from OCP.GCPnts import GCPnts_QuasiUniformDeflection
from OCP.GeomAbs import GeomAbs_Circle, GeomAbs_Cone, GeomAbs_Cylinder, GeomAbs_Line, GeomAbs_Plane
from OCP.gp import gp_Cone, gp_Cylinder, gp_Pln, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeAnalysis import ShapeAnalysis_CanonicalRecognition
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_WIRE
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

_PLACES = ("normal", "axis", "axis_point")

Vector = NDArray[np.float64]
Kind = Literal["plane", "cylinder", "cone", "other"]

#: A free-form face may stray this far from the plain shape it stands for (mm).
SHAPE_TOLERANCE_MM = 2e-3
#: Faces meet smoothly when their normals differ by less.
SMOOTH_RAD = math.radians(1.0)
#: Boundary curves are flattened to within this (mm).
CHORD_MM = 0.002


#: Of a face with very many triangles, this many are looked through for large ones.
_LOOKED_THROUGH = 400


def vector(value: Any) -> Vector:
    """A point, vector or direction of the kernel as (3,)."""
    return np.array(value.Coord())


@dataclass(frozen=True, eq=False)
class CircleEdge:
    """A circular edge: centre, unit axis, radius, and whether it goes all the way round."""

    centre: Vector
    axis: Vector
    radius: float
    full: bool


@dataclass(eq=False)
class SolidFace:
    """One face. `point` lies on it, `normal` points out of the solid there.

    `axis_point`, `axis`, `radius`: of a cylinder, or of a cone at `axis_point`. `hollow`: the
    normal points to the axis, as in a hole. `half_angle`: of a cone, radians.
    """

    number: int
    shape: Any
    surface: Any
    kind: Kind
    point: Vector = field(default_factory=lambda: np.zeros(3))
    normal: Vector = field(default_factory=lambda: np.zeros(3))
    axis_point: Vector = field(default_factory=lambda: np.zeros(3))
    axis: Vector = field(default_factory=lambda: np.zeros(3))
    radius: float = 0.0
    hollow: bool = False
    half_angle: float = 0.0

    @cached_property
    def area(self) -> float:
        """Exact area."""
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(self.shape, properties)
        return float(properties.Mass())

    @property
    def rough_area(self) -> float:
        """The area to six digits: faces of one size are of one size in a copy in inches too."""
        return float(f"{self.area:.6g}")

    def at(self, u: float, v: float) -> tuple[Vector, Vector]:
        """Point and outward unit normal at surface parameters."""
        point, along_u, along_v = gp_Pnt(), gp_Vec(), gp_Vec()
        self.surface.D1(u, v, point, along_u, along_v)
        across = along_u.Crossed(along_v)
        normal = vector(across) / max(float(across.Magnitude()), 1e-300)
        return vector(point), -normal if self.shape.Orientation() == TopAbs_REVERSED else normal


@dataclass(frozen=True, eq=False)
class SolidEdge:
    """An edge between two different faces. `smooth`: both have the same normal in its middle."""

    number: int
    shape: Any
    faces: tuple[int, int]
    smooth: bool
    middle: Vector
    #: Angle from the one normal to the other, radians.
    turn: float


def radial(point: Vector, axis_point: Vector, axis: Vector) -> Vector:
    """The part of a point's place, seen from an axis, that is across the axis."""
    away = point - axis_point
    return np.asarray(away - axis * float(away @ axis))


class SolidFaces:
    """Faces and edges of one solid, numbered from 0.

    `merged`: neighbours on the same surface count as one face. Without it the numbers are those of
    the solid's own faces, in the order of `Body.exact`.
    """

    def __init__(self, solid: Any, *, merged: bool = True) -> None:
        self.shape = solid
        if merged:
            merge = ShapeUpgrade_UnifySameDomain(solid, True, True, False)
            merge.Build()
            self.shape = merge.Shape()
        self._face_map, self._edge_map = ShapeMap(), EdgeMap()
        TopExp.MapShapes_s(self.shape, TopAbs_FACE, self._face_map)
        every = [TopoDS.Face(self._face_map.FindKey(i + 1)) for i in range(int(self._face_map.Extent()))]
        # A solid from a file has its triangles; only faces that were merged lack them.
        if any(BRep_Tool.Triangulation_s(face, TopLoc_Location()) is None for face in every):
            BRepMesh_IncrementalMesh(self.shape, 0.1, False, 0.5, False)
        TopExp.MapShapesAndAncestors_s(self.shape, TopAbs_EDGE, TopAbs_FACE, self._edge_map)
        self.faces = [_face(i, face) for i, face in enumerate(every)]
        self._points: dict[int, Vector] = {}
        self._largest: dict[int, Vector] = {}
        self._loops: dict[int, list[Vector]] = {}

    def number_of(self, shape: Any) -> int:
        """Number of a face of the kernel, -1 for one that is not of this solid."""
        return int(self._face_map.FindIndex(shape)) - 1

    @cached_property
    def volume_mm3(self) -> float:
        """Exact volume."""
        properties = GProp_GProps()
        BRepGProp.VolumeProperties_s(self.shape, properties)
        return float(properties.Mass())

    @cached_property
    def edges(self) -> list[SolidEdge]:
        """Edges between two different faces."""
        own: list[tuple[int, Any, tuple[int, int]]] = []
        for number, owners in self._owners().items():
            edge = TopoDS.Edge(self._edge_map.FindKey(number))
            if len(owners) == 2 and owners[0] != owners[1] and not BRep_Tool.Degenerated_s(edge):
                own.append((number, edge, (owners[0], owners[1])))
        if not own:
            return []
        middles = np.array([_middle(edge) for _, edge, _ in own])
        first, second = (self._normals([(x[1], x[2][i]) for x in own], middles) for i in (0, 1))
        turns = np.arccos(np.clip((first * second).sum(axis=1), -1.0, 1.0)).tolist()
        return [
            SolidEdge(number, edge, faces, turn < SMOOTH_RAD, middle, turn)
            for (number, edge, faces), middle, turn in zip(own, middles, turns, strict=True)
        ]

    def _normals(self, edges: list[tuple[Any, int]], middles: Vector) -> Vector:
        """(n, 3) outward normals of faces in the middles of edges of theirs, each edge with the number of its face."""
        number = np.array([face for _, face in edges])
        plain = np.array([face.surface.GetType() in (GeomAbs_Plane, GeomAbs_Cylinder) for face in self.faces])
        normal, axis, axis_point = (np.array([getattr(face, name) for face in self.faces])[number] for name in _PLACES)
        out = np.array([-1.0 if face.hollow else 1.0 for face in self.faces])[number]
        away = middles - axis_point
        away -= axis * (away * axis).sum(axis=1)[:, None]
        away *= (out / np.maximum(np.linalg.norm(away, axis=1), 1e-300))[:, None]
        flat = np.array([face.kind == "plane" for face in self.faces])[number]
        found = np.where(flat[:, None], normal, away)
        for i in np.flatnonzero(~plain[number]).tolist():
            found[i] = _normal_on(edges[i][0], self.faces[edges[i][1]])
        return np.asarray(found)

    def _owners(self) -> dict[int, list[int]]:
        """Faces of each edge; a seam names its face twice."""
        found: dict[int, list[int]] = {}
        for face in self.faces:
            explorer = TopExp_Explorer(face.shape, TopAbs_EDGE)
            while explorer.More():
                found.setdefault(int(self._edge_map.FindIndex(explorer.Current())), []).append(face.number)
                explorer.Next()
        return dict(sorted(found.items()))

    @cached_property
    def around(self) -> list[list[SolidEdge]]:
        """For each face, the edges that it shares with others."""
        found: list[list[SolidEdge]] = [[] for _ in self.faces]
        for edge in self.edges:
            for i in edge.faces:
                found[i].append(edge)
        return found

    def samples(self, number: int, count: int) -> list[tuple[Vector, Vector]]:
        """Points inside a face with their outward normals, in its largest triangles. At most `count`."""
        middles = self._middles(number)
        if not len(middles):
            return [(self.faces[number].point, self.faces[number].normal)]
        return [self.faces[number].at(u, v) for u, v in middles[:count].tolist()]

    def _middles(self, number: int) -> Vector:
        """(n, 2) surface parameters in the middle of a face's triangles, those of the largest first."""
        if number not in self._largest:
            mesh = BRep_Tool.Triangulation_s(self.faces[number].shape, TopLoc_Location())
            if mesh is None or not mesh.HasUVNodes():
                return np.zeros((0, 2))
            step = mesh.NbTriangles() // _LOOKED_THROUGH + 1
            nodes = [mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1, step)]
            corner = np.array([[mesh.UVNode(i).Coord() for i in three] for three in nodes])
            side, other = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
            size = np.abs(side[:, 0] * other[:, 1] - side[:, 1] * other[:, 0])
            self._largest[number] = corner.mean(axis=1)[np.argsort(-size, kind="stable")]
        return self._largest[number]

    def edge_points(self, edge: Any) -> Vector:
        """(n, 3) points along an edge, in its own direction. The same for both of its faces."""
        number = int(self._edge_map.FindIndex(edge))
        if number not in self._points:
            curve = BRepAdaptor_Curve(edge)
            if curve.GetType() == GeomAbs_Line:
                ends = (curve.FirstParameter(), curve.LastParameter())
                self._points[number] = np.array([vector(curve.Value(x)) for x in ends])
            elif curve.GetType() == GeomAbs_Circle:
                self._points[number] = _round_points(curve)
            else:
                along = GCPnts_QuasiUniformDeflection(curve, CHORD_MM)
                self._points[number] = np.array([vector(along.Value(i)) for i in range(1, int(along.NbPoints()) + 1)])
        return self._points[number]

    def loops(self, number: int) -> list[Vector]:
        """Closed boundaries of a face as points (n, 3), the outer one first."""
        if number not in self._loops:
            self._loops[number] = list(self._walked(number))
        return self._loops[number]

    def _walked(self, number: int) -> list[Vector]:
        face = self.faces[number].shape
        outer = BRepTools.OuterWire_s(face)
        found: list[Vector] = []
        explorer = TopExp_Explorer(face, TopAbs_WIRE)
        while explorer.More():
            wire = TopoDS.Wire(explorer.Current())
            pieces = []
            walk = BRepTools_WireExplorer(wire, face)
            while walk.More():
                edge = walk.Current()
                if not BRep_Tool.Degenerated_s(edge):
                    points = self.edge_points(edge)
                    pieces.append(points[:-1] if edge.Orientation() != TopAbs_REVERSED else points[:0:-1])
                walk.Next()
            if pieces:
                found.insert(0 if wire.IsSame(outer) else len(found), np.concatenate(pieces))
            explorer.Next()
        return found

    def circles(self, number: int) -> list[CircleEdge]:
        """Circular edges of a face."""
        found = []
        explorer = TopExp_Explorer(self.faces[number].shape, TopAbs_EDGE)
        while explorer.More():
            curve = BRepAdaptor_Curve(TopoDS.Edge(explorer.Current()))
            if curve.GetType() == GeomAbs_Circle:
                circle = curve.Circle()
                full = abs(curve.LastParameter() - curve.FirstParameter()) > 2 * math.pi - 1e-6
                centre, axis = vector(circle.Location()), vector(circle.Axis().Direction())
                found.append(CircleEdge(centre, axis, float(circle.Radius()), full))
            explorer.Next()
        return found


def _round_points(curve: Any) -> Vector:
    """(n, 3) points along an arc, within the chord tolerance."""
    circle = curve.Circle()
    place = circle.Position()
    centre, right, up = (vector(x) for x in (place.Location(), place.XDirection(), place.YDirection()))
    radius, first, last = float(circle.Radius()), float(curve.FirstParameter()), float(curve.LastParameter())
    step = 2 * math.acos(max(-1.0, 1 - CHORD_MM / max(radius, CHORD_MM)))
    turn = np.linspace(first, last, max(2, math.ceil(abs(last - first) / min(step, math.pi / 4))) + 1)
    return np.asarray(centre + radius * (np.outer(np.cos(turn), right) + np.outer(np.sin(turn), up)))


def mesh_points(face: SolidFace) -> Vector:
    """(n, 3) points all over a face: the nodes of its triangles."""
    location = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face.shape, location)
    if mesh is None:
        return face.point[None]
    move = location.Transformation()
    return np.array([vector(mesh.Node(i).Transformed(move)) for i in range(1, int(mesh.NbNodes()) + 1)])


def _middle(edge: Any) -> tuple[float, float, float]:
    """The point in the middle of an edge."""
    curve = BRepAdaptor_Curve(edge)
    x, y, z = curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2).Coord()
    return x, y, z


def _normal_on(edge: Any, face: SolidFace) -> Vector:
    """Outward normal of a face in the middle of one of its edges."""
    curve = BRepAdaptor_Curve2d(edge, face.shape)
    at = curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2)
    return face.at(at.X(), at.Y())[1]


def _inside(face: SolidFace) -> tuple[Vector, Vector]:
    """A point inside the face, with its normal."""
    mesh = BRep_Tool.Triangulation_s(face.shape, TopLoc_Location())
    if mesh is not None and mesh.HasUVNodes() and mesh.NbTriangles():
        corners = [mesh.UVNode(i) for i in mesh.Triangle(1).Get()]
        return face.at(sum(p.X() for p in corners) / 3, sum(p.Y() for p in corners) / 3)
    low_u, high_u, low_v, high_v = BRepTools.UVBounds_s(face.shape)
    return face.at((low_u + high_u) / 2, (low_v + high_v) / 2)


def _face(number: int, shape: Any) -> SolidFace:
    # Without its bounds: looking them up is slow on a face with hundreds of holes.
    surface = BRepAdaptor_Surface(shape, False)
    face = SolidFace(number, shape, surface, "other")
    face.point, face.normal = _inside(face)
    kind = surface.GetType()
    if kind == GeomAbs_Plane:
        face.kind = "plane"
    elif kind == GeomAbs_Cylinder:
        _round(face, surface.Cylinder())
    elif kind == GeomAbs_Cone:
        _pointed(face, surface.Cone())
    else:
        _recognised(face)
    return face


def _recognised(face: SolidFace) -> None:
    """See whether a free-form face is in truth a plane, a cylinder or a cone."""
    shapes = ShapeAnalysis_CanonicalRecognition(face.shape)
    plane, cylinder, cone = gp_Pln(), gp_Cylinder(), gp_Cone()
    if shapes.IsPlane(SHAPE_TOLERANCE_MM, plane):
        normal = vector(plane.Axis().Direction())
        face.kind = "plane"
        face.normal = normal if float(normal @ face.normal) > 0 else -normal
    elif shapes.IsCylinder(SHAPE_TOLERANCE_MM, cylinder):
        _round(face, cylinder)
    elif shapes.IsCone(SHAPE_TOLERANCE_MM, cone):
        _pointed(face, cone)


def _round(face: SolidFace, cylinder: Any) -> None:
    face.kind, face.radius = "cylinder", float(cylinder.Radius())
    _axis(face, cylinder)


def _pointed(face: SolidFace, cone: Any) -> None:
    face.kind, face.radius, face.half_angle = "cone", float(cone.RefRadius()), abs(float(cone.SemiAngle()))
    _axis(face, cone)


def _axis(face: SolidFace, surface: Any) -> None:
    face.axis_point = vector(surface.Location())
    face.axis = vector(surface.Axis().Direction())
    face.hollow = float(radial(face.point, face.axis_point, face.axis) @ face.normal) < 0
