"""A blunt corner of the design is no coarse curve: walls beside it keep their thickness, and no chord error is told."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.edge_kinds import BEND, CORNER, edge_kinds
from lintsvc.measure.mesh import Mesh


def folded(angle_deg: float, wall: float) -> Manifold:
    """Two plates of 30 x 20 mm that meet at an angle, without a bend between them."""
    turn = np.radians(angle_deg)
    along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    inner = [-wall * np.tan(turn / 2), wall]
    ends = [[-30.0, 0.0], [0.0, 0.0], list(30 * along), list(30 * along + wall * up), inner, [-30.0, wall]]
    return Manifold.extrude(CrossSection([ends]), 20)


@pytest.mark.parametrize("splits", [0, 2])
@pytest.mark.parametrize("angle_deg", [3, 12, 24, 34])
@pytest.mark.parametrize("wall", [0.5, 0.78])
def test_plate_with_a_fold_is_one_wall_of_its_thickness(wall: float, angle_deg: float, splits: int) -> None:
    mesh = mesh_of(folded(angle_deg, wall))
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (found,) = BodyMeasurements(bodies.body(bodies.turned(mesh, 1))).thin_places(0.8)
    assert found.width_mm == pytest.approx(wall, rel=1e-3)
    assert found.chord_mm == 0
    assert found.length_mm > 55


@pytest.mark.parametrize("step_deg", [2.0, 5.0, 10.0])
def test_arc_that_runs_into_a_flat_at_a_corner_has_the_error_of_its_own_facets(step_deg: float) -> None:
    """The round wall behind it is 0.75 mm from the arc all along; the flat goes off at 24 degrees."""
    turn = np.radians(np.arange(0.0, 60.1, step_deg))
    inner = 20.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    outer = 20.75 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    off = np.radians(24 + step_deg / 2)
    # The inner arc's last facet looks along step / 2; the flat is turned against it by 24 degrees.
    flat = inner[0] + 12.0 * np.array([-np.sin(off), -np.cos(off)])
    part = Manifold.extrude(CrossSection([[*outer, *inner[::-1], flat, outer[0] + [0.0, -12.0]]]), 12)
    found = BodyMeasurements(bodies.body(mesh_of(part))).thin_places(0.8)
    chord = 40 * (1 - np.cos(np.radians(step_deg) / 2))
    assert found[0].width_mm == pytest.approx(0.75, abs=max(0.2 * chord, 1e-3))
    assert found[0].chord_mm <= 1.1 * chord


def kinds_of(part: Manifold) -> set[int]:
    """Kinds of the edges that turn, but for the square ones."""
    vertices, faces = mesh_of(part)
    mesh = Mesh(vertices, faces)
    turns = np.abs(mesh.turns)
    return set(edge_kinds(mesh)[(turns > 1) & (turns < 80)].tolist())


def rounded(facets: int) -> Manifold:
    """A block with a rounded edge of so many facets a quarter."""
    turn = np.linspace(0, np.pi / 2, facets + 1)
    arc = np.stack([20 + 4 * np.cos(turn), 10 + 4 * np.sin(turn)], axis=1)
    return Manifold.extrude(CrossSection([[[0.0, 0.0], [24.0, 0.0], *arc, [0.0, 14.0]]]), 12)


@pytest.mark.parametrize("facets", [3, 4, 6, 16, 64])
def test_edges_of_rods_balls_and_rounds_bend(facets: int) -> None:
    assert kinds_of(rounded(facets)) == {BEND}
    assert kinds_of(cylinder(9, 20, 4 * facets)) == {BEND}
    assert kinds_of(Manifold.sphere(10, 4 * facets)) == {BEND}


def test_edges_between_flats_are_corners() -> None:
    assert kinds_of(folded(20, 2.0)) == {CORNER}
    assert kinds_of(cylinder(9, 20, 6)) == {CORNER}
