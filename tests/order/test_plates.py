"""Plate formulas against a solution of their own: the plate's equation by finite differences, and known numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import spsolve

from lintsvc.order.plates import Push, circle, rectangle, rigidity

YOUNG, THICK = 70_000.0, 1.0


def differences(ratio: float, cells: int, *, clamped: bool, patch: float | None, poisson: float) -> NDArray[np.float64]:
    """Deflection and moment in the middle, and moment in the middle of the long edge.

    D Δ²w = q on a plate of sides 1 and `ratio`, D and the whole load 1, 13-point star of second order. `patch`: radius
    of the loaded circle in the middle; None loads all.
    """
    h, across, along = 1 / cells, cells - 1, round(cells * ratio) - 1
    # A clamped edge mirrors what lies beside it, a supported one turns it over.
    end = 7.0 if clamped else 5.0

    def second(n: int) -> sp.dia_matrix:
        return sp.diags([1.0, -2.0, 1.0], [-1, 0, 1], shape=(n, n)) / h**2

    def fourth(n: int) -> sp.dia_matrix:
        middle = np.full(n, 6.0)
        middle[[0, -1]] = end
        star = [np.ones(n - 2), np.full(n - 1, -4.0), middle, np.full(n - 1, -4.0), np.ones(n - 2)]
        return sp.diags(star, [-2, -1, 0, 1, 2]) / h**4

    whole = sp.kron(fourth(across), sp.identity(along)) + sp.kron(sp.identity(across), fourth(along))
    whole = whole + 2 * sp.kron(second(across), second(along))
    x, y = np.arange(1, cells) * h - 0.5, np.arange(1, along + 1) * h - ratio / 2
    load = np.ones((across, along))
    if patch is not None:
        load = (np.hypot(x[:, None], y[None, :]) <= patch + 1e-9).astype(float)
    w = spsolve(whole.tocsc(), (load / (load.sum() * h * h if patch is not None else ratio)).ravel())
    w = w.reshape(load.shape)
    i, j = across // 2, along // 2
    bent = (w[i - 1, j] - 2 * w[i, j] + w[i + 1, j]) + poisson * (w[i, j - 1] - 2 * w[i, j] + w[i, j + 1])
    return np.array([w[i, j], -bent / h**2, 2 * w[0, j] / h**2])


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.5, 2.0])
def test_clamped_rectangles(ratio: float) -> None:
    stiff = rigidity(YOUNG, 0.33, THICK)
    for patch in (None, 0.0):
        coarse, fine = (differences(ratio, n, clamped=True, patch=patch, poisson=0.33) for n in (20, 40))
        # The error goes with the square of the cells.
        deflection, _, edge = fine + (fine - coarse) / 3
        push = Push(50.0, evenly=patch is None, spread_mm=40.0)
        found = rectangle((100.0, 100 * ratio), THICK, YOUNG, 0.33, clamped=True, push=push)
        assert found.deflection_mm == pytest.approx(deflection * 50 * 100**2 / stiff, rel=0.006)
        assert found.at_edge
        assert found.stress_mpa == pytest.approx(6 * 50 * edge, rel=0.004)


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.5, 2.0])
def test_supported_rectangles_pushed_evenly(ratio: float) -> None:
    coarse, fine = (differences(ratio, n, clamped=False, patch=None, poisson=0.33) for n in (20, 40))
    deflection, moment, _ = fine + (fine - coarse) / 3
    found = rectangle((100 * ratio, 100.0), THICK, YOUNG, 0.33, clamped=False, push=Push(50.0, evenly=True))
    assert found.deflection_mm == pytest.approx(deflection * 50 * 100**2 / rigidity(YOUNG, 0.33, THICK), rel=0.001)
    assert found.stress_mpa == pytest.approx(6 * 50 * moment, rel=0.001)


@pytest.mark.parametrize("clamped", [False, True])
@pytest.mark.parametrize("ratio", [1.0, 1.6])
def test_the_stress_under_a_force_in_the_middle(ratio: float, clamped: bool) -> None:
    _, moment, _ = differences(ratio, 100, clamped=clamped, patch=0.06, poisson=0.33)
    push = Push(50.0, evenly=False, spread_mm=6.0)
    found = rectangle((100.0, 100 * ratio), THICK, YOUNG, 0.33, clamped=clamped, push=push)
    assert not found.at_edge
    assert found.stress_mpa == pytest.approx(6 * 50 * moment, rel=0.01)


def test_known_numbers() -> None:
    """Timoshenko, table 8 and article 34: 0.00406 q a⁴/D, 0.0479 q a², 0.0116 F a²/D for a square, ν = 0.3."""
    stiff = rigidity(YOUNG, 0.3, THICK)
    even = rectangle((100.0, 100.0), THICK, YOUNG, 0.3, clamped=False, push=Push(100.0, evenly=True))
    assert even.deflection_mm == pytest.approx(0.00406 * 0.01 * 100**4 / stiff, rel=0.002)
    assert even.stress_mpa == pytest.approx(6 * 0.0479 * 0.01 * 100**2, rel=0.002)
    point = rectangle((100.0, 100.0), THICK, YOUNG, 0.3, clamped=False, push=Push(100.0, evenly=False))
    assert point.deflection_mm == pytest.approx(0.0116 * 100 * 100**2 / stiff, rel=0.002)


@pytest.mark.parametrize("clamped", [False, True])
def test_discs_obey_the_plate_s_own_equation(clamped: bool) -> None:
    """w = q/(64 D) (a² − r²) (c a² − r²) satisfies Δ²w = q/D; deflection and moments come from it (Timoshenko)."""
    radius, poisson, force = 40.0, 0.33, 90.0
    stiff, pressure = rigidity(YOUNG, poisson, THICK), force / (math.pi * 40.0**2)
    c = 1.0 if clamped else (5 + poisson) / (1 + poisson)
    shape = np.polynomial.Polynomial([c * radius**4, 0, -(1 + c) * radius**2, 0, 1]) * (pressure / (64 * stiff))
    slope, bend = shape.deriv(), shape.deriv(2)
    found = circle(radius, THICK, YOUNG, poisson, clamped=clamped, push=Push(force, evenly=True))
    assert found.deflection_mm == pytest.approx(shape(0.0))
    edge = -stiff * (bend(radius) + poisson * slope(radius) / radius)
    middle = -stiff * (1 + poisson) * bend(0.0)
    if clamped:
        assert slope(radius) == pytest.approx(0.0)
    else:
        assert edge == pytest.approx(0.0, abs=1e-9)
    assert found.at_edge is clamped
    assert found.stress_mpa == pytest.approx(6 * (abs(edge) if clamped else middle))


def test_a_strip_is_a_beam_and_a_plate_is_symmetric() -> None:
    wide = Push(3000.0, evenly=True)
    strip = rectangle((20.0, 3000.0), THICK, YOUNG, 0.33, clamped=False, push=wide)
    # q L⁴ · 5/384 per width, stiffened by 1 − ν².
    assert strip.deflection_mm == pytest.approx(5 / 384 * 0.05 * 20**4 / rigidity(YOUNG, 0.33, THICK), rel=0.01)
    one = rectangle((50.0, 90.0), THICK, YOUNG, 0.33, clamped=True, push=wide)
    assert one == rectangle((90.0, 50.0), THICK, YOUNG, 0.33, clamped=True, push=wide)
