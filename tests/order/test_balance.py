"""Balance against statics in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lintsvc.order.balance import Lump, balance, total

SQUARE = np.array([[-60, -60, 0], [60, -60, 0], [60, 60, 0], [-60, 60, 0]], float)


def test_tip_angle_of_a_stand() -> None:
    # Statics: tip angle = atan(d / h), d 60 mm, h 150 mm: 21.801 degrees.
    found = balance([Lump("stand", 2000.0, (0.0, 0.0, 150.0))], SQUARE)
    assert found.tip_deg == pytest.approx(21.801, abs=1e-3)


def test_push_that_tips_it() -> None:
    # Statics: F = m g d / H = 2 kg x 9.80665 x 60 / 200 = 5.884 N.
    found = balance([Lump("stand", 2000.0, (0.0, 0.0, 150.0))], SQUARE)
    assert found.push_n(200.0) == pytest.approx(5.884, abs=1e-3)


def test_a_centre_outside_the_feet_falls_over() -> None:
    found = balance([Lump("arm", 100.0, (80.0, 0.0, 50.0))], SQUARE)
    assert found.margin_mm == pytest.approx(-20.0)
    assert found.tip_deg < 0


def test_two_lumps_share_a_centre_by_mass() -> None:
    mass, centre = total([Lump("a", 300.0, (0.0, 0.0, 0.0)), Lump("b", 100.0, (40.0, 8.0, 4.0))])
    assert mass == 400.0
    assert centre == pytest.approx((10.0, 2.0, 1.0))


def test_turning_everything_keeps_the_tip_angle() -> None:
    c, s = math.cos(0.7), math.sin(0.7)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    lump = Lump("a", 500.0, (12.0, -7.0, 90.0))
    moved = Lump("a", 500.0, tuple(turn @ np.array(lump.centre_mm) + [5, 6, 7]))
    one, two = balance([lump], SQUARE), balance([moved], SQUARE @ turn.T + [5, 6, 7])
    assert two.tip_deg == pytest.approx(one.tip_deg)
    assert two.margin_mm == pytest.approx(one.margin_mm)


def test_feet_on_a_line_are_refused() -> None:
    with pytest.raises(ValueError, match="line or point"):
        balance([Lump("a", 1.0, (0.0, 0.0, 1.0))], np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0]], float))
