"""The chance to go together: against the fastener formulas of ASME Y14.5 and an independent optimiser."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from lintsvc.order.stack_up import chance_to_assemble, largest_residual, worst_case_play_mm

OVAL = np.column_stack([60 * np.cos(np.arange(8) * np.pi / 4), 40 * np.sin(np.arange(8) * np.pi / 4)])


def test_at_the_play_of_the_floating_fastener_formula_all_go_together() -> None:
    # ASME Y14.5 app. B, floating fastener: H = F + T. Zones of 0.2 on both parts need 0.2 of radial play in all.
    found = chance_to_assemble(OVAL, np.full(8, 0.2), 0.2, 0.2, spread="uniform", samples=4000)
    assert found.share == 1.0


def test_at_60_percent_of_that_play_about_half_do() -> None:
    # Outside check: 54 % (uniform), 98.5 % (normal) by a separate simulation with an exact optimiser on this pattern.
    uniform = chance_to_assemble(OVAL, np.full(8, 0.12), 0.2, 0.2, spread="uniform", samples=8000)
    normal = chance_to_assemble(OVAL, np.full(8, 0.12), 0.2, 0.2, spread="normal", samples=8000)
    assert uniform.share == pytest.approx(0.54, abs=0.025)
    assert normal.share == pytest.approx(0.985, abs=0.01)


def test_the_residual_agrees_with_an_independent_optimiser() -> None:
    random = np.random.default_rng(7)
    scale = 60.0
    for _ in range(12):
        error = random.uniform(-0.15, 0.15, (8, 2))
        ours = largest_residual(OVAL, error, np.full(8, 0.1))

        def slack(z: np.ndarray, error: np.ndarray = error) -> np.ndarray:
            moved = error - z[:2] - z[2] / scale * np.column_stack([-OVAL[:, 1], OVAL[:, 0]])
            return z[3] - ((moved / 0.1) ** 2).sum(axis=1)

        best = minimize(
            lambda z: z[3], [0, 0, 0, 5.0], constraints={"type": "ineq", "fun": slack}, method="SLSQP",
            options={"ftol": 1e-12, "maxiter": 300},
        )  # fmt: skip
        assert ours == pytest.approx(np.sqrt(best.x[3]), rel=2e-3)


def test_a_looser_hole_never_lowers_the_chance() -> None:
    shares = [
        chance_to_assemble(OVAL, np.full(8, x), 0.2, 0.2, spread="uniform", samples=2000).share
        for x in (0.08, 0.1, 0.12, 0.15)
    ]
    assert shares == sorted(shares)


def test_worst_case_play_is_clearance_minus_position() -> None:
    assert worst_case_play_mm([0.2, 0.3], [0.2, 0.2]) == pytest.approx(0.0)


@pytest.mark.parametrize("spread_mm", [0.0, 0.1, 0.2])
def test_sizes_off_as_well_give_the_closed_form_of_two_screws(spread_mm: float) -> None:
    """Two screws pass when the pitches differ by no more than both clearances: a difference of normals, closed form."""
    centres = np.array([[-20.0, 0.0], [20.0, 0.0]])
    found = chance_to_assemble(centres, np.full(2, 0.2), 0.5, 0.5, samples=20_000, size_mm=np.full(2, spread_mm))
    # Four positions with three sigma at half their zone, two clearances with three sigma at their tolerance.
    sigma = np.sqrt(4 * (0.25 / 3) ** 2 + 2 * (spread_mm / 3) ** 2)
    # The pitch may be too long or too short; both at once cannot be.
    expected = 1 - 2 * (1 - 0.5 * (1 + math.erf(0.4 / sigma / math.sqrt(2))))
    assert found.share == pytest.approx(expected, abs=3 * found.within / 1.96 + 1e-3)


def test_a_screw_wider_than_its_hole_does_not_pass() -> None:
    one = np.array([[0.0, 0.0], [30.0, 0.0]])
    found = chance_to_assemble(one, np.array([0.0, 0.5]), 1e-6, 1e-6, samples=8000, size_mm=np.array([0.1, 0.0]))
    # The first clearance is below nothing in half of all pairs.
    assert found.share == pytest.approx(0.5, abs=0.03)
