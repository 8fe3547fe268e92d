"""Deflection and stress against beams in closed form (Roark table 8.1; Shigley table A-9)."""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from numpy.typing import NDArray
from parts.solids import bar
from skfem.models.elasticity import lame_parameters, linear_elasticity

from lintsvc.order.solid_elements import CannotSolve, Feet, PointForce, solve, stiffness_of
from lintsvc.order.solid_mesh import tetrahedra

ALUMINIUM = 68_900.0


def at_start(places: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The end of a bar at x = 0."""
    return places[:, 0] < 1e-6


def test_a_cantilever_bends_as_the_beam_formula_says() -> None:
    # F L^3 / (3 E I), F 10 N, L 100, b 40, h 3 mm, E 68 900 MPa: 0.5375 mm. No Poisson effect in beam theory: nu = 0.
    points, elements = bar((100.0, 40.0, 3.0), (40, 8, 1))
    forces = [PointForce((100.0, y, 1.5), (0, 0, -2.0), 4.0) for y in (4.0, 12.0, 20.0, 28.0, 36.0)]
    solved = solve(points, elements, ALUMINIUM, 0.0, at_start, forces)
    # The force acts over 4 mm around the end, so its arm is a little shorter than L: within 2 %.
    assert solved.largest_deflection[0] == pytest.approx(0.5375, rel=0.02)
    # 6 F L / (b h^2) = 16.667 MPa at the clamp.
    assert solved.largest_stress()[0] == pytest.approx(16.667, rel=0.03)


def test_the_stiffness_matrix_is_scikit_fems() -> None:
    """Outside check: scikit-fem's own linear elasticity, which is assembled pair by pair."""
    points, elements = bar((30.0, 10.0, 4.0), (6, 2, 1))
    points = points + np.random.default_rng(0).uniform(-0.3, 0.3, points.shape)
    mesh = skfem.MeshTet(np.ascontiguousarray(points.T), np.ascontiguousarray(elements.T))
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementTetP2()), intorder=2)
    theirs = linear_elasticity(*lame_parameters(ALUMINIUM, 0.33)).assemble(basis)
    ours = stiffness_of(mesh, basis, ALUMINIUM, 0.33)
    assert abs(ours - theirs).max() < 1e-9 * abs(theirs).max()


def test_a_bar_pulled_lengthens_by_f_l_over_e_a() -> None:
    points, elements = bar((100.0, 10.0, 10.0), (20, 2, 2))
    solved = solve(points, elements, ALUMINIUM, 0.33, at_start, [PointForce((100.0, 5.0, 5.0), (1000.0, 0, 0), 3.0)])
    # Well away from both ends the stress is F / A = 10 MPa (Saint-Venant).
    places = solved.points_mm[:, 0]
    middle = np.abs(places - 50.0) < 10.1
    assert solved.stress_mpa[middle].mean() == pytest.approx(10.0, rel=0.01)
    # Two sections, 40 mm apart, move 40 x 10 / E against each other.
    near, far = (solved.deflection_mm[np.abs(places - x) < 1e-6, 0].mean() for x in (30.0, 70.0))
    assert far - near == pytest.approx(40.0 * 10.0 / ALUMINIUM, rel=0.01)


def test_twice_the_force_twice_the_deflection() -> None:
    points, elements = bar((60.0, 10.0, 4.0), (12, 2, 1))
    one, two = (
        solve(points, elements, 1700.0, 0.39, at_start, [PointForce((60.0, 5.0, 2.0), (0, 0, -f), 3.0)])
        for f in (5.0, 10.0)
    )
    assert two.largest_deflection[0] == pytest.approx(2 * one.largest_deflection[0], rel=1e-6)


def test_a_mesh_by_netgen_gives_the_same_as_one_by_hand() -> None:
    corners = np.array([[x, y, z] for x in (0, 80.0) for y in (0, 12.0) for z in (0, 6.0)])
    faces = np.array(
        [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4],
         [1, 5, 7], [1, 7, 3]]
    )  # fmt: skip
    points, elements = tetrahedra(corners, faces, 4.0)
    force = [PointForce((80.0, 6.0, 3.0), (0, 0, -50.0), 3.0)]
    meshed = solve(points, elements, 1700.0, 0.39, at_start, force)
    points, elements = bar((80.0, 12.0, 6.0), (26, 4, 2))
    by_hand = solve(points, elements, 1700.0, 0.39, at_start, force)
    assert meshed.largest_deflection[0] == pytest.approx(by_hand.largest_deflection[0], rel=0.02)


def test_feet_carry_and_let_a_bar_tilt() -> None:
    """F L³ / (48 E I) between two feet (Shigley, table A-9, case 5); ends held fast would give a quarter of it."""
    points, elements = bar((110.0, 10.0, 3.0), (44, 2, 1))
    feet = Feet(np.array([[x, y, 0.0] for x in (5.0, 105.0) for y in (2.0, 8.0)]), 2.0, np.array([0, 0, 1.0]))
    forces = [PointForce((55.0, 5.0, 3.0), (0, 0, -20.0), 2.0)]
    solved = solve(points, elements, ALUMINIUM, 0.0, lambda some: np.zeros(len(some), bool), forces, [feet])
    expected = 20 * 100**3 / (48 * ALUMINIUM * 10 * 3**3 / 12)
    assert solved.largest_deflection[0] == pytest.approx(expected, rel=0.02)


def test_feet_on_one_line_do_not_carry() -> None:
    points, elements = bar((20.0, 10.0, 4.0), (4, 2, 1))
    feet = Feet(np.array([[0.0, 5.0, 0.0], [20.0, 5.0, 0.0]]), 0.5, np.array([0, 0, 1.0]))
    force = [PointForce((10.0, 9.0, 4.0), (0, 0, -2.0), 2.0)]
    with pytest.raises(CannotSolve, match="not held"):
        solve(points, elements, 1700.0, 0.39, lambda some: np.zeros(len(some), bool), force, [feet])


def test_a_part_that_nothing_holds_is_refused() -> None:
    points, elements = bar((20.0, 10.0, 4.0), (4, 2, 1))
    with pytest.raises(CannotSolve, match="held"):
        solve(points, elements, 1700.0, 0.39, lambda some: np.zeros(len(some), bool), [])


def test_a_force_off_the_part_is_refused() -> None:
    points, elements = bar((20.0, 10.0, 4.0), (4, 2, 1))
    with pytest.raises(CannotSolve, match="off the part"):
        solve(points, elements, 1700.0, 0.39, at_start, [PointForce((90.0, 5.0, 2.0), (0, 0, -1.0), 2.0)])


def test_an_open_surface_cannot_be_filled() -> None:
    with pytest.raises(CannotSolve):
        tetrahedra(
            np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10.0]]),
            np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2]]),
            2.0,
        )
