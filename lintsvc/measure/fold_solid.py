"""A folded flat as an exact solid: planes, true cylinders for the bends, round holes round. For STEP."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakeSolid,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFill import BRepFill
from OCP.BRepGProp import BRepGProp
from OCP.BRepLib import BRepLib
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.Geom import Geom_Circle, Geom_CylindricalSurface, Geom_Line
from OCP.Geom2d import Geom2d_Line
from OCP.gp import gp_Ax2, gp_Ax3, gp_Circ, gp_Dir, gp_Dir2d, gp_Pln, gp_Pnt, gp_Pnt2d, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.Interface import Interface_Static
from OCP.Message import Message
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
from OCP.TopAbs import TopAbs_SHELL
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from lintsvc.measure.fold_cells import GRID_MM
from lintsvc.measure.fold_pose import Floats
from lintsvc.measure.fold_zones import FoldBend, NotFolded

if TYPE_CHECKING:
    from shapely.geometry.polygon import LinearRing

    from lintsvc.measure.fold import Folded

#: Faces whose edges come this near are sewn together (mm).
_SEW_MM = 1e-3
#: A ring of so many corners, all this near to one circle (mm), was drawn as one.
_ROUND_CORNERS = 12
_ROUND_MM = 2e-3


def step_bytes(folded: Folded, name: str = "folded part") -> bytes:
    """Return the folded part as a STEP file, in mm. Raises NotFolded where no closed solid comes out."""
    solid = solid_of(folded)
    Message.DefaultMessenger_s().ChangePrinters().Clear()
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.product.name", name)
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    writer.Transfer(solid, STEPControl_AsIs)
    stream = io.BytesIO()
    writer.WriteStream(stream)
    return stream.getvalue()


def solid_of(folded: Folded) -> Any:
    """Return the folded part as a solid of the kernel. Raises NotFolded where its faces do not close."""
    sewing = BRepBuilderAPI_Sewing(_SEW_MM)
    free = _free_edges(folded)
    for number in range(len(folded.panels)):
        for face in _panel_faces(folded, number, free):
            sewing.Add(face)
    for number in range(len(folded.zones)):
        for face in _Bend(folded, number).faces(free):
            sewing.Add(face)
    sewing.Perform()
    shells = TopExp_Explorer(sewing.SewedShape(), TopAbs_SHELL)
    if not shells.More():
        raise NotFolded("no closed solid comes out of the folded sheet")
    solid = BRepBuilderAPI_MakeSolid(TopoDS.Shell(shells.Current())).Solid()
    BRepLib.OrientClosedSolid_s(solid)
    merge = ShapeUpgrade_UnifySameDomain(solid, True, True, False)
    merge.Build()
    solid = merge.Shape()
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, properties)
    # Facets lie inside convex and outside hollow sides of a bend: both volumes agree but for a little.
    wrong = abs(properties.Mass() - folded.volume_mm3) > 0.02 * abs(folded.volume_mm3)
    if sewing.NbFreeEdges() or wrong or not BRepCheck_Analyzer(solid).IsValid():
        raise NotFolded("no sound solid comes out of the folded sheet")
    return solid


_Key = tuple[int, int, int, int]


def _key(p: Floats, q: Floats) -> _Key:
    a, b = np.round(np.concatenate([p, q]) / GRID_MM).astype(np.int64).reshape(2, 2).tolist()
    return a[0], a[1], b[0], b[1]


def _free_edges(folded: Folded) -> set[_Key]:
    """Edges of the flat's own edge, sheet to the left."""
    rim = folded.cells.points[folded.cells.rim]
    return {_key(p, q) for p, q in rim}


def _ring_points(ring: LinearRing) -> Floats:
    return np.asarray(ring.coords)[:-1, :2]


def _circle_of(points: Floats) -> tuple[Floats, float] | None:
    if len(points) < _ROUND_CORNERS:
        return None
    # The circle that fits best: x² + y² = 2·a·x + 2·b·y + c.
    fit, *_ = np.linalg.lstsq(np.column_stack([2 * points, np.ones(len(points))]), (points**2).sum(axis=1), rcond=None)
    centre = fit[:2]
    reach = np.hypot(*(points - centre).T)
    if np.ptp(reach) > _ROUND_MM:
        return None
    return centre, float(reach.max())


def _panel_faces(folded: Folded, number: int, free: set[_Key]) -> list[Any]:
    panel, t = folded.panels[number], folded.thickness_mm
    up = gp_Vec(0.0, 0.0, t)
    plane = gp_Pln(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))
    faces: list[Any] = []
    wires: list[Any] = []
    for ring in (panel.exterior, *panel.interiors):
        points = _ring_points(ring)
        circle = None if ring is panel.exterior else _circle_of(points)
        wire = BRepBuilderAPI_MakeWire()
        if circle is not None:
            (x, y), radius = circle
            edge = BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(gp_Pnt(x, y, 0), gp_Dir(0, 0, -1)), radius)).Edge()
            wire.Add(edge)
            faces.append(BRepPrimAPI_MakePrism(edge, up).Shape())
        else:
            for p, q in zip(points, np.roll(points, -1, axis=0), strict=True):
                edge = BRepBuilderAPI_MakeEdge(gp_Pnt(p[0], p[1], 0), gp_Pnt(q[0], q[1], 0)).Edge()
                wire.Add(edge)
                if _key(p, q) in free:
                    faces.append(BRepPrimAPI_MakePrism(edge, up).Shape())
        wires.append(wire.Wire())
    make = BRepBuilderAPI_MakeFace(plane, wires[0], True)
    for wire in wires[1:]:
        make.Add(wire)
    low = make.Face()
    lift = gp_Trsf()
    lift.SetTranslation(up)
    faces += [low, low.Moved(TopLoc_Location(lift))]
    place = TopLoc_Location(_trsf(folded.transform_of(number)))
    return [face.Moved(place) for face in faces]


def _trsf(matrix: Floats) -> gp_Trsf:
    move = gp_Trsf()
    move.SetValues(*(float(v) for v in matrix[:3].ravel()))
    return move


class _Bend:
    """One zone's faces, drawn in the parameters of its cylinders: angle from the y < 0 side, place along the line."""

    def __init__(self, folded: Folded, number: int) -> None:
        self.area = folded.zones[number].area
        index = folded.zones[number].bend
        self.bend: FoldBend = folded.bends[index]
        self.turn = folded.place.turns[index]
        self.place = folded.place.zones[number]
        # The shape as it was cut: with the corners that the panels beside it have.
        label = len(folded.panels) + number
        self.shape = folded.cells.shapes[int(np.flatnonzero(folded.cells.shape_label == label)[0])]
        self.thickness = folded.thickness_mm
        if self.turn < 1e-6:
            raise NotFolded("a part that is not folded whole cannot be written as an exact solid", (self.bend.number,))
        bend = self.bend
        radius = bend.allowance_mm / self.turn - bend.k * self.thickness
        height = self.thickness + radius if bend.up else -radius
        left = np.array([-bend.along[1], bend.along[0]])
        x, y = np.array(bend.origin) - left * bend.half_mm
        way = 1.0 if bend.up else -1.0
        self.way = way
        frame = gp_Ax3(
            gp_Pnt(float(x), float(y), height),
            gp_Dir(way * bend.along[0], way * bend.along[1], 0.0),
            gp_Dir(0.0, 0.0, -way),
        )
        self.frame = frame
        self.radii = (abs(height), abs(height - self.thickness))

    def faces(self, free: set[_Key]) -> list[Any]:
        """Return the faces of the bend, in place."""
        rings = [_ring_points(r) for r in (self.shape.exterior, *self.shape.interiors)]
        found: list[Any] = []
        sides: list[list[Any]] = []
        for radius in self.radii:
            if radius < 1e-6:
                # Bent around nothing: the inside is a line.
                sides.append([])
                continue
            surface = Geom_CylindricalSurface(self.frame, radius)
            edges = [self._edges(surface, radius, ring) for ring in rings]
            wires = []
            for chain in edges:
                wire = BRepBuilderAPI_MakeWire()
                for edge in chain:
                    wire.Add(edge)
                wires.append(wire.Wire())
            make = BRepBuilderAPI_MakeFace(surface, wires[0], True)
            for wire in wires[1:]:
                make.Add(wire)
            found.append(make.Face())
            sides.append([edge for chain in edges for edge in chain])
        found += self._walls(rings, sides, free)
        place = TopLoc_Location(_trsf(self.place))
        return [face.Moved(place) for face in found]

    def _at(self, points: Floats) -> Floats:
        """Angle and place along the axis of points of the flat."""
        local = self.bend.here(points)
        angle = (local[:, 1] + self.bend.half_mm) / self.bend.allowance_mm * self.turn
        return np.column_stack([angle, self.way * local[:, 0]])

    def _edges(self, surface: Any, radius: float, ring: Floats) -> list[Any]:
        at = self._at(ring)
        return [self._edge(surface, radius, p, q) for p, q in zip(at, np.roll(at, -1, axis=0), strict=True)]

    def _edge(self, surface: Any, radius: float, p: Floats, q: Floats) -> Any:
        """Return an edge that is straight in angle and length: a line, an arc, or a piece of a helix."""
        step = q - p
        length = float(np.hypot(*step))
        line = Geom2d_Line(gp_Pnt2d(*p.tolist()), gp_Dir2d(*(step / length).tolist()))
        edge = BRepBuilderAPI_MakeEdge(line, surface, 0.0, length).Edge()
        exact: Any = None
        if abs(step[0]) * radius < 1e-7:
            start = surface.Value(*p.tolist())
            along = self.frame.Direction()
            exact = Geom_Line(start, along if step[1] > 0 else along.Reversed())
        elif abs(step[1]) < 1e-7:
            exact = self._arc(radius, float(p[0]), float(p[1]), step[0] > 0)
        if exact is None:
            BRepLib.BuildCurve3d_s(edge, 1e-5)
        else:
            BRep_Builder().UpdateEdge(edge, exact, 1e-6)
        BRepLib.SameParameter_s(edge, 1e-5)
        return edge

    def _arc(self, radius: float, angle: float, along: float, forward: bool) -> Any:
        """Return a circle about the axis whose parameter runs from an angle."""
        x, y, z = (
            np.array([d.X(), d.Y(), d.Z()])
            for d in (self.frame.XDirection(), self.frame.YDirection(), self.frame.Direction())
        )
        start = math.cos(angle) * x + math.sin(angle) * y
        origin = self.frame.Location()
        centre = gp_Pnt(*(np.array([origin.X(), origin.Y(), origin.Z()]) + along * z).tolist())
        about = z if forward else -z
        return Geom_Circle(gp_Ax2(centre, gp_Dir(*about.tolist()), gp_Dir(*start.tolist())), radius)

    def _walls(self, rings: list[Floats], sides: list[list[Any]], free: set[_Key]) -> list[Any]:
        """Return the faces across the thickness, at the edges of the sheet."""
        pairs = [(p, q) for ring in rings for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
        found = []
        for number, (p, q) in enumerate(pairs):
            y = self.bend.here(np.array([p, q]))[:, 1]
            straight_side = (np.abs(np.abs(y) - self.bend.half_mm) < 1e-4).all() and y[0] * y[1] > 0
            if straight_side and _key(p, q) not in free:
                continue
            if all(sides):
                found.append(BRepFill.Face_s(sides[0][number], sides[1][number]))
            else:
                found.append(self._wedge(p, q, (sides[0] or sides[1])[number]))
        return found

    def _wedge(self, p: Floats, q: Floats, outer: Any) -> Any:
        """Return an end of a bend around nothing: a sector, or a rectangle between axis and edge."""
        at = self._at(np.array([p, q]))
        origin, along = self.frame.Location(), self.frame.Direction()
        middle = [
            gp_Pnt(origin.X() + v * along.X(), origin.Y() + v * along.Y(), origin.Z() + v * along.Z())
            for v in at[:, 1].tolist()
        ]
        ends = [BRep_Tool.Pnt_s(_vertex(outer, first)) for first in (True, False)]
        wire = BRepBuilderAPI_MakeWire(outer)
        wire.Add(BRepBuilderAPI_MakeEdge(ends[1], middle[1]).Edge())
        if middle[0].Distance(middle[1]) > 1e-6:
            wire.Add(BRepBuilderAPI_MakeEdge(middle[1], middle[0]).Edge())
        wire.Add(BRepBuilderAPI_MakeEdge(middle[0], ends[0]).Edge())
        made = BRepBuilderAPI_MakeFace(wire.Wire(), True)
        if not made.IsDone():
            raise NotFolded("a bend without an inside radius ends along a slope", (self.bend.number,))
        return made.Face()


def _vertex(edge: Any, first: bool) -> Any:
    from OCP.TopExp import TopExp

    return TopExp.FirstVertex_s(edge, True) if first else TopExp.LastVertex_s(edge, True)
