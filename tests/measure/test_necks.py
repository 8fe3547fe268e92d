"""Thin places of no area: a corner or the bottom of a notch that comes near the other side at one spot."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, mesh_of

from lintsvc.measure.bodies import BodyMeasurements


def measured(part: Manifold, seed: int = 0) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(bodies.turned(bodies.shuffled(mesh_of(part), seed), seed)))


def notched(left: float, ahead: float, radius: float = 6.0) -> Manifold:
    """A block with a bore across and a short V-shaped notch whose bottom line ends near it.

    The line runs along x from `ahead` on, `left` mm above the bore's crown.
    """
    part = block(24, 24, 16) - Manifold.cylinder(20, radius, -1, 256).translate([0, 0, -2])
    root = radius + left
    outline = CrossSection([[[root, 0.0], [root + 8.0, -6.0], [root + 8.0, 6.0]]])
    # The outline's x is the block's y; the notch is extruded along x.
    notch = Manifold.extrude(outline, 1.6).transform(np.array([[0.0, 0, 1, ahead], [1, 0, 0, 0], [0, 1, 0, 8]]))
    return part - notch


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("left", "ahead"), [(0.44, 0.0), (0.3, 0.6), (0.1, 1.0), (0.6, 0.2)])
def test_notch_that_ends_near_a_bore_is_a_thin_spot_of_its_true_least_width(
    left: float, ahead: float, seed: int
) -> None:
    expected = np.hypot(ahead, 6.0 + left) - 6.0
    found = [x for x in measured(notched(left, ahead), seed).thin_places(0.8) if not x.slight(0.8)]
    assert len(found) == 1
    # The facets of the bore's circle lie up to 0.0005 mm within it.
    assert found[0].width_mm == pytest.approx(expected, abs=0.001)
    at = np.array([ahead, 6.0 + left - expected / 2, 8.0])
    middle = (found[0].span[0] + found[0].span[1]) / 2
    assert np.linalg.norm(middle @ bodies.rotation(seed) - at) < 0.6


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("left", [0.2, 0.5, 0.7])
def test_corner_of_a_pocket_near_a_slanting_side_is_a_thin_spot(left: float, seed: int) -> None:
    """The pocket's corner at the origin; the side is the plane x + y + z = -left * sqrt(3)."""
    third = np.array([1.0, 1.0, 1.0]) / np.sqrt(3)
    part = block(30, 30, 30).translate([0, 0, -15]).trim_by_plane(third.tolist(), -left)
    part -= Manifold.cube([6, 6, 20])
    found = [x for x in measured(part, seed).thin_places(0.8) if not x.slight(0.8)]
    assert len(found) == 1
    assert found[0].width_mm == pytest.approx(left, rel=0.005)
    middle = (found[0].span[0] + found[0].span[1]) / 2
    assert np.linalg.norm(middle @ bodies.rotation(seed) + third * left / 2) < 0.1


@pytest.mark.parametrize("left", [0.82, 0.9])
def test_notch_and_corner_that_leave_enough_are_no_finding(left: float) -> None:
    third = np.array([1.0, 1.0, 1.0]) / np.sqrt(3)
    corner = block(30, 30, 30).translate([0, 0, -15]).trim_by_plane(third.tolist(), -left) - Manifold.cube([6, 6, 20])
    for part in (notched(left, 0.0), corner):
        assert list(measured(part).thin_places(0.8)) == []


@pytest.mark.parametrize("angle_deg", [20.0, 30.0, 45.0])
def test_tip_of_a_wedge_is_no_neck(angle_deg: float) -> None:
    found = measured_wedge(angle_deg).thin_places(0.8)
    assert [x.width_mm for x in found if not x.slight(0.8)] == []


def measured_wedge(angle_deg: float) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(bodies.turned(bodies.wedge(angle_deg), 3)))
