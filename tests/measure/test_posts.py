"""Posts whose sides do not face each other: three-cornered, five-cornered and the like."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.place import Place

LIMIT = 1.0


def upright(outline: CrossSection, high: float) -> Manifold:
    """A post on a plate, off its middle."""
    return block(20, 20, 3) + Manifold.extrude(outline, high + 1).translate([1.3, 2.1, 2])


def regular(corners: int, circle: float) -> CrossSection:
    """A regular polygon about a circle of that diameter."""
    turns = 0.1 + 2 * np.pi * np.arange(corners) / corners
    radius = circle / 2 / np.cos(np.pi / corners)
    return CrossSection([(radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)).tolist()])


def told(mesh: bodies.Mesh) -> list[Place]:
    """The pins that a rule would tell."""
    places = BodyMeasurements(bodies.body(mesh)).thin_places(LIMIT)
    return [x for x in places if x.slender and not x.slight(LIMIT)]


@pytest.mark.parametrize("turn", [None, 3])
@pytest.mark.parametrize("high", [1.8, 6.0])
@pytest.mark.parametrize("circle", [0.4, 0.97])
@pytest.mark.parametrize("corners", [3, 4, 5, 6])
def test_regular_post_is_one_pin_with_the_circle_within(
    corners: int, circle: float, high: float, turn: int | None
) -> None:
    mesh = mesh_of(upright(regular(corners, circle), high * circle))
    (pin,) = told(bodies.turned(mesh, turn) if turn else mesh)
    assert pin.width_mm == pytest.approx(circle, rel=0.005)
    if turn is None:
        assert np.linalg.norm(np.array(pin.where().point)[:2] - (1.3, 2.1)) < 0.1 + circle / 2
        assert 3.0 <= pin.where().point[2] <= 3 + high


@pytest.mark.parametrize("high", [2.0, 6.0])
@pytest.mark.parametrize("corners", [3, 4, 5, 6, 8])
def test_regular_post_over_the_limit_is_none(corners: int, high: float) -> None:
    assert told(mesh_of(upright(regular(corners, 1.02), high))) == []


@pytest.mark.parametrize("high", [0.9, 5.0])
def test_eight_corners_stand_for_a_round_pin(high: float) -> None:
    (pin,) = told(mesh_of(upright(regular(8, 0.5), high)))
    assert pin.width_mm == pytest.approx(0.5 / np.cos(np.pi / 8), rel=0.005)


@pytest.mark.parametrize("ways", [(0.0, 90.0, 225.0), (0.0, 110.0, 235.0), (0.0, 80.0, 200.0)])
def test_uneven_three_cornered_post_is_a_pin(ways: tuple[float, ...]) -> None:
    """Its three sides, given by the directions that they face, all touch a circle of 0.8 mm."""
    out = np.stack([np.cos(np.radians(ways)), np.sin(np.radians(ways))], axis=1)
    corners = [np.linalg.solve(out[[k, (k + 1) % 3]], [0.4, 0.4]).tolist() for k in range(3)]
    (pin,) = told(mesh_of(upright(CrossSection([corners]), 5)))
    assert pin.width_mm == pytest.approx(0.8, rel=0.005)


def test_split_post_is_the_same_pin() -> None:
    mesh = mesh_of(upright(regular(3, 0.7), 5))
    for _ in range(2):
        mesh = bodies.split(mesh)
        (pin,) = told(bodies.shuffled(mesh, 1))
        assert pin.width_mm == pytest.approx(0.7, rel=0.005)


def test_three_cornered_post_with_a_draft_is_as_thin_as_at_its_top() -> None:
    post = Manifold.extrude(regular(3, 0.9), 5, 0, 0, (0.8, 0.8)).translate([1.3, 2.1, 2.5])
    (pin,) = told(mesh_of(block(20, 20, 3) + post))
    # The lowest ball that the end does not cut lies a radius below it.
    assert pin.width_mm == pytest.approx(0.8 * 0.9, rel=0.03)


def test_strut_between_two_walls_is_a_pin() -> None:
    part = upright(regular(3, 0.7), 6) + block(20, 20, 3).translate([0, 0, 8])
    (pin,) = told(mesh_of(part))
    assert pin.long_mm == pytest.approx(5.0, abs=0.05)


def test_ridge_and_chamfered_plate_are_no_posts() -> None:
    roof = Manifold.extrude(CrossSection([[[-4.0, 0.0], [4.0, 0.0], [0.0, 6.9]]]), 12).rotate([90, 0, 0])
    tip = Manifold.cylinder(4, 3, 0.0, 3).translate([8, 0, 0])
    assert told(mesh_of(block(20, 20, 3) + roof.translate([0, 6, 2]) + tip.translate([0, 0, 3]))) == []
    chamfered = CrossSection([[[0.0, 0.0], [12.0, 0.0], [12.0, 0.4], [11.6, 0.8], [0.4, 0.8], [0.0, 0.4]]])
    assert told(mesh_of(Manifold.extrude(chamfered, 20))) == []
