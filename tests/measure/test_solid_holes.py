"""Round holes of exact solids: true sizes, whatever way the part stands."""

from __future__ import annotations

import math
from typing import Any

import pytest

from lintsvc.measure.solid_holes import Counterbore, Countersink, SolidHole, holes_of


def block() -> Any:
    """80 x 60 x 30, rounded corners: a through hole, blind ones flat and pointed, countersunk, counterbored."""
    from build123d import Align, Axis, Box, Cone, Cylinder, Location, fillet

    up = (Align.CENTER, Align.CENTER, Align.MIN)
    down = (Align.CENTER, Align.CENTER, Align.MAX)
    solid = Box(80, 60, 30, align=up)
    solid = fillet(solid.edges().filter_by(Axis.Z), 6)
    solid -= Cylinder(5, 30, align=up).moved(Location((-25, 15, 0)))
    solid -= Cylinder(3, 12, align=down).moved(Location((25, 15, 30)))
    solid -= Cylinder(3.3, 30, align=up).moved(Location((25, -15, 0)))
    solid -= Cone(3.3, 6.6, 3.3, align=down).moved(Location((25, -15, 30)))
    solid -= Cylinder(4, 30, align=up).moved(Location((-25, -15, 0)))
    solid -= Cylinder(7, 8, align=down).moved(Location((-25, -15, 30)))
    solid -= Cylinder(2.5, 20, align=down).moved(Location((0, 15, 30)))
    point = 2.5 / math.tan(math.radians(59))
    return solid - Cone(0, 2.5, point, align=down).moved(Location((0, 15, 10)))


def by_diameter(solid: Any) -> dict[float, SolidHole]:
    return {hole.diameter_mm: hole for hole in holes_of(solid.wrapped)}


@pytest.mark.parametrize("turn", [(0, 0, 0), (33, 20, 71), (90, 0, 45)])
def test_every_hole_of_a_block(turn: tuple[float, float, float]) -> None:
    from build123d import Location

    solid = block().moved(Location((3, -7, 11), turn)).solids()[0]
    holes = by_diameter(solid)
    assert sorted(holes) == [5.0, 6.0, 6.6, 8.0, 10.0]
    assert [(holes[d].end, holes[d].depth_mm) for d in (10.0, 6.0, 5.0)] == [
        ("through", pytest.approx(30)),
        ("flat", pytest.approx(12)),
        ("cone", pytest.approx(20)),
    ]
    assert holes[6.6].countersinks == (Countersink(13.2, 90.0, 3.3),)
    assert holes[8.0].counterbores == (Counterbore(14.0, 8.0),)
    assert not any(holes[d].countersinks or holes[d].counterbores for d in (10.0, 6.0, 5.0))


def test_mouth_lies_where_the_hole_is_worked() -> None:
    holes = by_diameter(block().solids()[0])
    assert holes[8.0].mouth == pytest.approx((-25, -15, 30))
    assert holes[8.0].direction == pytest.approx((0, 0, -1))
    assert holes[5.0].mouth == pytest.approx((0, 15, 30))


def test_faces_are_those_of_the_solid() -> None:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopoDS import TopoDS

    from lintsvc.readers.step_shapes import explored

    solid = block().solids()[0]
    faces = list(explored(solid.wrapped, TopAbs_FACE))
    for hole in holes_of(solid.wrapped):
        if hole.end == "through" and not hole.counterbores and not hole.countersinks:
            (number,) = hole.faces
            radius = BRepAdaptor_Surface(TopoDS.Face(faces[number])).Cylinder().Radius()
            assert 2 * radius == pytest.approx(hole.diameter_mm)


def test_two_flanges_have_a_hole_each() -> None:
    from build123d import Box, Cylinder, Location

    solid = Box(40, 30, 30) - Box(40, 22, 30).moved(Location((0, 0, 4)))
    solid -= Cylinder(3, 80).moved(Location((0, 0, 5), (90, 0, 0)))
    holes = holes_of(solid.solids()[0].wrapped)
    assert [(h.diameter_mm, h.depth_mm, h.end) for h in holes] == [(6.0, pytest.approx(4), "through")] * 2


def test_bosses_roundings_and_voids_are_no_holes() -> None:
    from build123d import Align, Axis, Box, Cylinder, Location, fillet

    solid = Box(40, 40, 10) + Cylinder(5, 10, align=(Align.CENTER, Align.CENTER, Align.MIN)).moved(Location((0, 0, 5)))
    solid -= Box(12, 12, 30).moved(Location((14, 14, 0)))
    solid = fillet(solid.edges().filter_by(Axis.Z).filter_by(lambda e: abs(e.length - 10) < 1e-6), 2)
    assert holes_of(solid.solids()[0].wrapped) == ()


def test_hole_of_free_form_faces_is_found() -> None:
    from build123d import Box, Cylinder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    solid = (Box(40, 40, 10) - Cylinder(4, 10)).solids()[0]
    spline = BRepBuilderAPI_NurbsConvert(solid.wrapped, True).Shape()
    (hole,) = holes_of(spline)
    assert hole.diameter_mm == pytest.approx(8, abs=0.005)
    assert (hole.end, hole.depth_mm) == ("through", pytest.approx(10, abs=0.01))
