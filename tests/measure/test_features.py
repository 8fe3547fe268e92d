"""Knife edges, raised and sunk detail, panels and slender walls."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, mesh_of

from lintsvc.measure.bodies import BodyMeasurements


def measured(mesh: bodies.Mesh) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(mesh))


@pytest.mark.parametrize("angle_deg", [5, 10, 20, 30, 45])
@pytest.mark.parametrize("cells", [1, 12])
def test_knife_edge_reaches_as_far_as_its_angle_says(angle_deg: float, cells: int) -> None:
    knives = measured(bodies.wedge(angle_deg, cells=cells)).knife_edges(0.8)
    # The wedge's other corner, at its back, is sharp too when the angle is large.
    knife = next(x for x in knives if abs(x.span[0][0]) < 1e-6)
    assert knife.reach_mm == pytest.approx(0.4 / np.tan(np.radians(angle_deg / 2)), rel=1e-3)
    assert knife.angle_deg == pytest.approx(angle_deg, rel=1e-3)
    assert knife.length_mm == pytest.approx(20, rel=1e-3)


def test_square_corner_and_thin_plate_have_no_knife_edge() -> None:
    assert measured(bodies.box((10, 10, 10))).knife_edges(0.8) == []
    assert measured(bodies.plate(0.5)).knife_edges(0.8) == []


def test_curved_blade_is_one_knife_edge() -> None:
    # Two arcs of radius 10 that meet at 2 x acos(0.95).
    lens = (Manifold.cylinder(8, 10, -1, 256).translate([0, 9.5, 0])) ^ Manifold.cylinder(8, 10, -1, 256).translate(
        [0, -9.5, 0]
    )
    knives = measured(mesh_of(lens)).knife_edges(0.8)
    assert len(knives) == 2
    # Where the lens is 0.8 thick: y = 0.4 on both sides, by the circles.
    tip = np.sqrt(10**2 - 9.5**2)
    expected = tip - np.sqrt(10**2 - 9.9**2)
    assert knives[0].reach_mm == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize("height", [0.1, 0.3, 0.45])
@pytest.mark.parametrize("splits", [0, 2])
def test_raised_and_sunk_bars_have_their_height(height: float, splits: int) -> None:
    plate = block(30, 20, 4)
    bar = block(8, 2, height + 1)
    for part, raised in ((plate + bar.translate([0, 0, 3]), True), (plate - bar.translate([0, 0, 4 - height]), False)):
        mesh = mesh_of(part)
        for _ in range(splits):
            mesh = bodies.split(mesh)
        (detail,) = measured(bodies.turned(mesh, 3)).details(0.5)
        assert detail.raised is raised
        assert detail.height_mm == pytest.approx(height, rel=0.01)
        assert detail.length_mm == pytest.approx(20, rel=0.01)


def test_letters_of_one_height_are_one_detail() -> None:
    part = block(40, 20, 4)
    for i in range(5):
        part += block(2, 6, 1.3).translate([-14 + 7 * i, 0, 3])
    (detail,) = measured(mesh_of(part)).details(0.5)
    assert detail.count == 5


@pytest.mark.parametrize("raised", [True, False])
@pytest.mark.parametrize("facets", [12, 32, 96])
def test_eye_of_a_letter_is_no_detail_of_its_own(facets: int, raised: bool) -> None:
    ring = Manifold.extrude(CrossSection.circle(3, facets) - CrossSection.circle(1.6, facets), 1.3)
    plate = block(24, 18, 4)
    part = plate + ring.translate([1, 2, 3]) if raised else plate - ring.translate([1, 2, 3.7])
    (detail,) = measured(bodies.turned(mesh_of(part), facets)).details(0.5)
    assert detail.raised is raised
    assert detail.height_mm == pytest.approx(0.3, rel=0.01)
    assert detail.count == 1
    assert detail.length_mm == pytest.approx(2 * facets * np.sin(np.pi / facets) * (3 + 1.6), rel=0.01)


def test_detail_on_a_round_face_is_found() -> None:
    ring = Manifold.cylinder(4, 10.3, -1, 128).translate([0, 0, 8])
    part = Manifold.cylinder(20, 10, -1, 128) + ring
    (detail,) = measured(mesh_of(part)).details(0.5)
    assert detail.raised
    assert detail.height_mm == pytest.approx(0.3, rel=0.02)


def test_height_is_square_to_the_face_though_the_sides_slope() -> None:
    outline = CrossSection([[[-1.2, 0.0], [1.2, 0.0], [1.0, 0.3], [-1.0, 0.3]]])
    bar = Manifold.extrude(outline, 9).rotate([90, 0, 0]).translate([0, 4.5, 4])
    (detail,) = measured(mesh_of(block(30, 20, 4) + bar)).details(0.5)
    assert detail.height_mm == pytest.approx(0.3, rel=0.01)


@pytest.mark.parametrize(("deep", "count"), [(0.45, 1), (0.7, 0)])
def test_island_in_a_deep_sunk_letter_is_no_lower_than_the_letter_is_deep(deep: float, count: int) -> None:
    # The upright edges of its flat side are together longer than the edge on top.
    island = CrossSection.circle(0.6, 32) ^ CrossSection.square([2, 1.2]).translate([0, -0.6])
    letter = block(6, 6, 3) - Manifold.extrude(island, 9)
    found = measured(mesh_of(block(20, 20, 4) - letter.translate([0, 0, 4 - deep]))).details(0.5)
    assert [x.height_mm for x in found] == pytest.approx([deep] * count)


def test_ledge_between_a_bore_and_its_chamfer_is_no_detail() -> None:
    profile = [[2.5, 0.0], [9.0, 0.0], [9.0, 5.0], [2.84, 5.0], [2.54, 4.7], [2.5, 4.7]]
    assert measured(mesh_of(Manifold.revolve(CrossSection([profile]), 64))).details(0.5) == []


def test_steps_as_high_as_the_limit_and_chamfers_are_no_details() -> None:
    assert measured(mesh_of(block(30, 20, 4) + block(8, 2, 1.6).translate([0, 0, 3]))).details(0.5) == []
    outline = CrossSection([[[0, 0], [20, 0], [20, 4.7], [19.7, 5], [0.3, 5], [0, 4.7]]])
    assert measured(mesh_of(Manifold.extrude(outline, 30))).details(0.5) == []


def arc(x: float, y: float, radius: float, start_deg: float, stop_deg: float, facets: int) -> list[list[float]]:
    turn = np.radians(np.linspace(start_deg, stop_deg, facets + 1))
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1).tolist()


@pytest.mark.parametrize("facets", [2, 3, 8])
@pytest.mark.parametrize("radius", [0.3, 0.5, 0.6])
def test_rounds_in_few_facets_a_quarter_are_no_details(radius: float, facets: int) -> None:
    groove = [[0, 0], [40, 0], [40, 10], [24, 10], *arc(20, 10, radius, 0, -180, 2 * facets), [16, 10], [0, 10]]
    foot = [[0, 0], [30, 0], [30, 5], *arc(15 + radius, 5 + radius, radius, 270, 180, facets)]
    step = [*foot, [15, 5.05 + radius], [0, 5.05 + radius]]
    rounded = [*foot, *arc(15 - radius, 5 + radius, radius, 0, 90, facets), [0, 5 + 2 * radius]]
    for outline in (groove, step, rounded):
        assert measured(mesh_of(Manifold.extrude(CrossSection([outline]), 20))).details(0.5) == []


@pytest.mark.parametrize("raised", [True, False])
@pytest.mark.parametrize("wide", [0.8, 2.0])
def test_bar_with_sides_of_45_degrees_is_a_detail(wide: float, raised: bool) -> None:
    way = 1.0 if raised else -1.0
    bar = [[10 - wide, 5], [10 - wide + 0.3, 5 + way * 0.3], [10 + wide - 0.3, 5 + way * 0.3], [10 + wide, 5]]
    outline = [[0, 0], [20, 0], [20, 5], *bar[::-1], [0, 5]]
    (found,) = measured(mesh_of(Manifold.extrude(CrossSection([outline]), 20))).details(0.5)
    assert found.height_mm == pytest.approx(0.3, rel=0.01)
    assert found.raised is raised


@pytest.mark.parametrize("seed", range(3))
def test_panel_has_its_size_and_thickness(seed: int) -> None:
    (panel,) = measured(bodies.turned(bodies.plate(2.0, (160.0, 90.0)), seed)).panels(3.0)
    assert panel.thickness_mm == pytest.approx(2.0, rel=1e-3)
    assert (panel.length_mm, panel.breadth_mm) == (pytest.approx(160, rel=1e-3), pytest.approx(90, rel=1e-3))
    assert panel.reach_mm == 0


def test_panel_with_ribs_and_holes_is_a_panel_and_a_block_is_none() -> None:
    part = block(160, 90, 2) + block(150, 2, 8) - block(10, 10, 9).translate([40, 20, -1])
    assert any(x.length_mm == pytest.approx(160, rel=1e-3) for x in measured(mesh_of(part)).panels(3.0))
    assert measured(bodies.box((160, 90, 10))).panels(3.0) == []


@pytest.mark.parametrize(("thick", "count"), [((2.0, 2.8), 1), ((0.3, 2.8), 0)])
def test_panel_may_taper_a_little_and_a_wing_is_none(thick: tuple[float, float], count: int) -> None:
    assert len(measured(bodies.taper(*thick, length=160.0)).panels(3.0)) == count


def test_wall_reaches_from_its_foot_to_its_rim() -> None:
    walls = measured(mesh_of(block(40, 20, 5) + block(30, 1.2, 31).translate([0, 0, 4]))).panels(3.0)
    (wall,) = [x for x in walls if x.free and x.reach_mm > 0]
    assert wall.thickness_mm == pytest.approx(1.2, rel=1e-3)
    assert wall.reach_mm == pytest.approx(30, rel=1e-3)


def test_wall_held_on_three_sides_reaches_less() -> None:
    # The wall between two thick ones: its middle is nearer to them than to the foot.
    part = block(40, 20, 5) + block(30, 1.2, 31).translate([0, 0, 4])
    part += block(5, 20, 35).translate([-17.5, 0, 0]) + block(5, 20, 35).translate([17.5, 0, 0])
    walls = [x for x in measured(mesh_of(part)).panels(3.0) if x.free and x.reach_mm > 0]
    assert [x.reach_mm for x in walls] == [pytest.approx(15, rel=0.03)]
