"""Thick places that hang together are one place; those with a neck between them are not."""

from __future__ import annotations

import numpy as np
import pytest
from parts import bodies
from parts.planted_bodies import block, mesh_of

from lintsvc.measure.bodies import BodyMeasurements


def diameters(mesh: bodies.Mesh) -> list[float]:
    return [x.diameter_mm for x in BodyMeasurements(bodies.body(mesh)).thick_places(10.0)]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("sides", [(354.28, 354.28, 1220.0), (30.0, 30.0, 400.0), (12.0, 300.0, 200.0)])
def test_bar_or_plate_is_one_place(sides: tuple[float, float, float], seed: int) -> None:
    assert diameters(bodies.turned(bodies.box(sides), seed)) == pytest.approx([min(sides)], rel=1e-4)


def test_bar_with_a_neck_is_two_places() -> None:
    neck = block(6, 40, 40).translate([0, 0, -1])
    part = block(80, 20, 20) - (neck - block(6, 8, 60).translate([0, 0, -10]))
    found = diameters(mesh_of(part))
    assert found == pytest.approx([20, 20], rel=1e-3)
    assert np.ptp(found) < 0.01
