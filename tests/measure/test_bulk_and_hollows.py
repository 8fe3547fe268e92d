"""Bulk, closed voids, hollows with a narrow way out, and the box that a part needs."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import Manifold
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure import bulk
from lintsvc.measure.bodies import BodyMeasurements


def measured(mesh: bodies.Mesh) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(mesh))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("splits", [0, 2])
def test_block_is_as_thick_as_its_shortest_side(seed: int, splits: int) -> None:
    mesh = bodies.box((30.0, 20.0, 12.0))
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (bulk,) = measured(bodies.turned(mesh, seed)).thick_places(10.0)
    assert bulk.diameter_mm == pytest.approx(12.0, rel=2e-3)
    assert measured(bodies.turned(mesh, seed)).thick_places(12.1) == []


def test_ball_is_as_thick_as_its_diameter() -> None:
    (bulk,) = measured(bodies.sphere(8.0, 4)).thick_places(10.0)
    assert bulk.diameter_mm == pytest.approx(16.0, rel=5e-3)
    assert np.linalg.norm(bulk.centre) < 0.2


@pytest.mark.parametrize("seed", range(3))
def test_no_ball_grows_out_through_a_hole(seed: int) -> None:
    vertices, faces = bodies.turned(bodies.box((30.0, 20.0, 12.0), (6, 4, 2)), seed)
    (bulk,) = measured((vertices, faces[1:])).thick_places(10.0)
    assert bulk.diameter_mm == pytest.approx(12.0, rel=2e-3)
    # A surface that is open further encloses nothing.
    assert measured((vertices, faces[len(faces) // 4 :])).thick_places(1.0) == []


def test_two_lumps_on_a_plate_are_two_places() -> None:
    part = block(80, 20, 3) + block(14, 14, 14).translate([-30, 0, 0]) + block(13, 13, 13).translate([30, 0, 0])
    assert [x.diameter_mm for x in measured(mesh_of(part)).thick_places(10.0)] == pytest.approx([14, 13], rel=3e-3)


def test_balls_that_cannot_grow_any_more_are_not_asked_about_again(monkeypatch: pytest.MonkeyPatch) -> None:
    part = block(200, 20, 3)
    for k in range(9):
        part += block(12 + k / 4, 14, 14).translate([-88 + 22 * k, 0, 0])
    asked: list[np.ndarray] = []
    ask = bulk.nearest
    monkeypatch.setattr(bulk, "nearest", lambda bvh, points, *rest: asked.append(points) or ask(bvh, points, *rest))
    assert len(measured(mesh_of(part)).thick_places(10.0)) == 9
    places = np.concatenate(asked)
    # By chance a way leads back now and then; asking all of them again at each step makes it a quarter.
    assert len(places) - len(np.unique(places, axis=0)) < 0.03 * len(places)


def test_closed_void_has_the_volume_of_its_shell() -> None:
    part = block(20, 20, 20) - block(6, 5, 4).translate([2, 1, 6])
    (void,) = measured(mesh_of(part)).voids
    assert void.volume_mm3 == pytest.approx(120, rel=1e-5)
    assert void.where().point == pytest.approx((2, 1, 8), abs=1e-5)


def test_two_bodies_and_a_body_inside_out_are_no_voids() -> None:
    assert measured(bodies.two_boxes(1.0)).voids == []
    assert measured(bodies.inward(bodies.box((5, 5, 5)))).voids == []


def test_void_of_an_open_box_is_none() -> None:
    assert measured(mesh_of(block(20, 20, 20) - block(16, 16, 20).translate([0, 0, 2]))).voids == []


@pytest.mark.parametrize("opening", [1.0, 1.6, 2.4, 3.0, 3.45])
@pytest.mark.parametrize("seed", [1, 3])
def test_hollow_is_as_open_as_its_widest_hole(opening: float, seed: int) -> None:
    part = block(24, 24, 20) - block(20, 20, 16).translate([0, 0, 2])
    part -= cylinder(opening, 9, 96).translate([3, 2, 15]) + cylinder(0.8, 9, 48).translate([-5, -4, 15])
    (hollow,) = measured(bodies.turned(mesh_of(part), seed)).hollows(3.5, 100.0)
    assert hollow.opening_mm == pytest.approx(opening, rel=0.01)
    assert hollow.volume_mm3 == pytest.approx(20 * 20 * 16, rel=0.05)
    place = np.array(hollow.door) @ bodies.rotation(seed)
    assert np.hypot(place[0] - 3, place[1] - 2) < 0.2
    assert 17 < place[2] < 21


@pytest.mark.parametrize("splits", [0, 2])
def test_hollow_names_the_faces_of_its_walls_and_none_of_the_outside(splits: int) -> None:
    """A cube's room behind a hole: all faces within the room's box are its own, those on the outside are not."""
    mesh = mesh_of(
        block(24, 24, 20) - block(20, 20, 16).translate([0, 0, 2]) - cylinder(2.4, 9, 48).translate([3, 2, 15])
    )
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (hollow,) = measured(mesh).hollows(3.5, 100.0)
    named = set(hollow.where().faces)
    corners = mesh[0][mesh[1]]
    room = (np.abs(corners) <= np.array([10.0, 10.0, 18.0]) + 1e-4).all(axis=(1, 2))
    room &= (corners[:, :, 2] >= 2 - 1e-4).all(axis=1)
    outer = (np.isclose(np.abs(corners[:, :, :2]), 12).all(axis=1)).any(axis=1)
    outer |= np.isclose(corners[:, :, 2], 0).all(axis=1) | np.isclose(corners[:, :, 2], 20).all(axis=1)
    assert set(np.flatnonzero(room).tolist()) <= named
    assert not named & set(np.flatnonzero(outer).tolist())


def test_wide_opening_blind_hole_and_tray_are_no_hollows() -> None:
    shell = block(24, 24, 20) - block(20, 20, 16).translate([0, 0, 2])
    assert measured(mesh_of(shell - cylinder(3.7, 9, 96).translate([0, 0, 15]))).hollows(3.5, 100.0) == []
    assert measured(mesh_of(block(12, 12, 30) - cylinder(3, 27, 48).translate([0, 0, 5]))).hollows(3.5, 100.0) == []
    assert measured(mesh_of(block(24, 24, 20) - block(20, 20, 20).translate([0, 0, 2]))).hollows(3.5, 100.0) == []
    assert measured(mesh_of(shell)).hollows(3.5, 100.0) == [], "a closed void is told as one"


def test_two_chambers_behind_one_neck_are_told_with_the_neck() -> None:
    part = block(40, 20, 16) - block(12, 14, 10).translate([-9, 0, 3]) - block(12, 14, 10).translate([9, 0, 3])
    # Between the chambers 6 mm, to the outside 2.4 mm.
    part -= cylinder(6, 12, 48).rotate([0, 90, 0]).translate([-6, 0, 8]) + cylinder(2.4, 9, 48).translate([9, 0, 10])
    hollows = measured(mesh_of(part)).hollows(3.5, 100.0)
    assert [x.opening_mm for x in hollows] == pytest.approx([2.4], rel=0.01)
    assert hollows[0].volume_mm3 == pytest.approx(2 * 12 * 14 * 10, rel=0.1)


@pytest.mark.parametrize("seed", range(4))
def test_long_part_fits_however_it_lies_in_the_file(seed: int) -> None:
    part = measured(bodies.turned(bodies.box((500.0, 40.0, 30.0)), seed))
    assert part.sides_of_box((501, 41, 31)) == pytest.approx((500, 40, 30), rel=1e-3)
    # Across the floor of a room it fits, too, and where nothing fits the nearest miss is told.
    assert max(part.sides_of_box((400, 400, 100))) < 400
    assert max(part.sides_of_box((300, 300, 300))) > 300


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("width", "count"), [(2.0, 1), (3.0, 1), (3.4, 1), (3.6, 0)])
@pytest.mark.parametrize("shape", ["round", "square"])
def test_bent_channel_is_as_wide_as_it_is_however_the_part_lies(
    shape: str, width: float, count: int, seed: int
) -> None:
    part = block(50, 30, 24) - block(18, 18, 14).translate([-12, 0, 5])
    if shape == "square":
        part -= block(20, width, width).translate([6, 0, 12 - width / 2])
        part -= block(width, width, 14).translate([16 - width / 2, 0, 12 - width / 2])
    else:
        part -= cylinder(width, 18, 48).rotate([0, 90, 0]).translate([-4, 0, 12])
        part -= cylinder(width, 14, 48).translate([14, 0, 12]) + Manifold.sphere(width / 2, 48).translate([14, 0, 12])
    found = measured(bodies.turned(mesh_of(part), 100 + seed)).hollows(3.5, 100.0)
    assert [x.opening_mm for x in found if x.opening_mm < 3.5] == pytest.approx([width] * count, rel=0.02)
