"""Round holes of meshes: diameter, depth, bottoms; against the solid they were drawn as, too."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.bores import Bore


def bores(mesh: bodies.Mesh) -> list[Bore]:
    return BodyMeasurements(bodies.body(mesh)).bores


def drilled(diameter: float, thickness: float, facets: int, *, bottom: float = -1.0) -> Manifold:
    return block(20, 20, thickness) - cylinder(diameter, thickness + 2, facets).translate([0, 0, bottom])


@pytest.mark.parametrize("facets", [8, 12, 24, 64, 200])
@pytest.mark.parametrize("splits", [0, 1, 2])
def test_through_hole_of_any_fineness(facets: int, splits: int) -> None:
    mesh = mesh_of(drilled(5.0, 7.0, facets))
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (bore,) = bores(bodies.turned(mesh, facets))
    assert bore.diameter_mm == pytest.approx(5.0, rel=2e-3)
    assert bore.depth_mm == pytest.approx(7.0, rel=1e-3)
    assert bore.through
    assert bore.facets == facets


def test_blind_hole_has_a_bottom() -> None:
    (bore,) = bores(mesh_of(drilled(4.0, 12.0, 48, bottom=3.0)))
    assert bore.blind
    assert bore.depth_mm == pytest.approx(9.0, rel=1e-3)


def test_drilled_hole_with_a_cone_at_its_end_is_blind() -> None:
    cone = Manifold.cylinder(1.2, 0.0, 2.0, 48).translate([0, 0, 1.8])
    (bore,) = bores(mesh_of(drilled(4.0, 12.0, 48, bottom=3.0) - cone))
    assert bore.blind


@pytest.mark.parametrize("facets", [12, 24, 48, 96])
@pytest.mark.parametrize("rings", [3, 6, 12])
@pytest.mark.parametrize("splits", [0, 1])
def test_hole_with_a_round_bottom_is_blind(facets: int, rings: int, splits: int) -> None:
    """As a ball cutter leaves it: 7 mm to where the ball begins, and up to one ring of its facets more."""
    turn = np.linspace(0, np.pi / 2, rings + 1)[1:]
    ball = np.stack([0.95 * np.sin(turn), 5 - 0.95 * np.cos(turn)], axis=1)
    tool = Manifold.revolve(CrossSection([[[0, 4.05], *ball.tolist(), [0.95, 13], [0, 13]]]), facets)
    mesh = mesh_of(block(20, 20, 12) - tool)
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (bore,) = bores(bodies.turned(mesh, facets))
    assert bore.diameter_mm == pytest.approx(1.9, rel=2e-3)
    assert bore.depth_mm == pytest.approx(7.0, rel=2e-2)
    assert bore.blind


@pytest.mark.parametrize("facets", [16, 48])
@pytest.mark.parametrize("aslant_deg", [0, 20])
def test_hole_that_a_wider_one_crosses_is_one_hole(facets: int, aslant_deg: float) -> None:
    wide = cylinder(5, 60, facets).translate([0, 0, -30]).rotate([0, aslant_deg, 0]).translate([0, 0, 12])
    part = block(24, 24, 24) - wide - cylinder(3, 40, facets).rotate([0, 90, 0]).translate([-20, 0, 12])
    narrow, other = bores(bodies.turned(mesh_of(part), 5))
    assert (narrow.diameter_mm, narrow.depth_mm) == (pytest.approx(3, rel=1e-3), pytest.approx(24, rel=1e-3))
    assert narrow.through
    assert other.diameter_mm == pytest.approx(5, rel=1e-3)


def test_blind_hole_that_a_wider_one_crosses_stays_blind() -> None:
    part = block(24, 24, 24) - cylinder(5, 40).translate([0, 0, -8])
    narrow, _ = bores(mesh_of(part - cylinder(3, 22).rotate([0, 90, 0]).translate([-12.5, 0, 12])))
    assert narrow.blind
    assert narrow.depth_mm == pytest.approx(21.5, rel=1e-3)


def test_holes_in_both_walls_of_a_pipe_and_of_a_fork_stay_two() -> None:
    pipe = cylinder(40, 30, 96) - cylinder(32, 40, 96).translate([0, 0, -5])
    across = cylinder(3, 60).rotate([0, 90, 0]).translate([-30, 0, 12])
    assert [round(x.diameter_mm, 1) for x in bores(mesh_of(pipe - across))] == [3.0, 3.0, 32.0]
    fork = block(20, 20, 16) - block(12, 22, 16).translate([0, 0, 3])
    assert [round(x.depth_mm, 2) for x in bores(mesh_of(fork - across))] == [4.0, 4.0]


def test_counterbore_is_two_holes() -> None:
    part = drilled(4.0, 12.0, 48) - cylinder(8.0, 9.0, 48).translate([0, 0, 8.0])
    small, large = bores(mesh_of(part))
    assert (small.diameter_mm, small.depth_mm) == (pytest.approx(4.0, rel=1e-3), pytest.approx(8.0, rel=1e-3))
    assert (large.diameter_mm, large.depth_mm) == (pytest.approx(8.0, rel=1e-3), pytest.approx(4.0, rel=1e-3))
    assert small.through
    assert not large.blind


def test_pin_corner_polygon_and_cone_are_no_holes() -> None:
    assert bores(mesh_of(block(20, 20, 3) + cylinder(5, 9))) == []
    assert bores(mesh_of(block(20, 20, 6) - cylinder(9, 9, 6).translate([0, 0, -1]))) == []
    slot = Manifold.hull(cylinder(4, 9).translate([-4, 0, -1]) + cylinder(4, 9).translate([4, 0, -1]))
    assert bores(mesh_of(block(20, 20, 6) - slot)) == []
    assert bores(mesh_of(block(20, 20, 6) - Manifold.cylinder(8, 2, 5, 48).translate([0, 0, -1]))) == []


def test_many_holes_are_told_one_by_one() -> None:
    part = block(60, 60, 3)
    for i in range(5):
        for j in range(5):
            part -= cylinder(1 + 0.5 * i, 9, 32).translate([-20 + 10 * i, -20 + 10 * j, -3])
    found = [x.diameter_mm for x in bores(mesh_of(part))]
    assert found == pytest.approx(np.repeat([1.0, 1.5, 2.0, 2.5, 3.0], 5), rel=1e-3)


def test_bores_of_a_mesh_agree_with_the_cylinders_of_its_solid() -> None:
    """The exact cylinders of a B-rep (Open Cascade) against those found in its triangles."""
    from build123d import Axis, Box, Cylinder, Locations, export_stl

    solid = Box(40, 30, 10)
    wanted = []
    for i, (diameter, depth) in enumerate([(3.2, 10.0), (4.1, 6.0), (6.6, 10.0)]):
        with_hole = Locations((-12 + 12 * i, 3 * i - 4, 5 - depth / 2))
        solid -= with_hole * Cylinder(diameter / 2, depth)
        wanted.append((diameter, depth))
    solid = solid.rotate(Axis.X, 33)
    import tempfile
    from pathlib import Path

    from lintsvc.readers import read_part
    from lintsvc.readers.format import ReadOptions

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.stl"
        assert export_stl(solid, str(path), tolerance=0.01)
        body = read_part(path, ReadOptions("part.stl", "0" * 64, units="mm")).body
    assert body is not None
    found = [(x.diameter_mm, x.depth_mm) for x in BodyMeasurements(body).bores]
    assert found == [(pytest.approx(d, rel=1e-3), pytest.approx(h, rel=1e-3)) for d, h in wanted]
