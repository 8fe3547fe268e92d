"""Short pins and bars on a face, upright and with a draft: a pin, a wall or a detail by their proportions alone."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.place import Place


def bar(length: float, width: float, height: float, draft_deg: float) -> bodies.Mesh:
    """A plate with an upright bar that gets narrower toward its top by the draft on each side."""
    less = 2 * (height + 0.5) * np.tan(np.radians(draft_deg))
    scale = ((length - less) / length, (width - less) / width)
    stub = Manifold.extrude(CrossSection.square([length, width], True), height + 0.5, 0, 0, scale)
    return mesh_of(block(20, 20, 3) + stub.translate([0, 6, 2.5]))


def thin(mesh: bodies.Mesh, limit: float) -> list[Place]:
    return [x for x in BodyMeasurements(bodies.body(mesh)).thin_places(limit) if not x.slight(limit)]


@pytest.mark.parametrize("turn", [None, 3])
@pytest.mark.parametrize(("draft_deg", "high"), [(1.0, 2.0), (1.0, 1.2), (3.0, 1.2)])
def test_stub_with_a_draft_is_a_pin(draft_deg: float, high: float, turn: int | None) -> None:
    mesh = bar(0.7, 0.7, high, draft_deg)
    found = thin(bodies.turned(mesh, turn) if turn else mesh, 1.0)
    assert [x.slender for x in found] == [True]
    assert found[0].width_mm == pytest.approx(0.7 - 2 * (high + 0.5) * np.tan(np.radians(draft_deg)), rel=0.02)


@pytest.mark.parametrize("length", [1.5, 2.5])
@pytest.mark.parametrize(("high", "low"), [(0.7, True), (1.0, False), (2.0, False)])
def test_short_bar_higher_than_wide_is_a_wall(length: float, high: float, low: bool) -> None:
    walls = [x for x in thin(bar(length, 0.7, high, 0.0), 0.8) if not x.round]
    assert [x.low for x in walls] == [low]


def test_short_pin_on_a_rim_is_told_like_one_on_a_plate() -> None:
    part = block(60, 40, 12) - block(56, 36, 12).translate([0, 0, 2]) + block(0.7, 0.7, 1.7).translate([-20, 19, 11.5])
    assert [x.slender for x in thin(mesh_of(part), 1.0)] == [True]


@pytest.mark.parametrize("turn", [None, 2, 3])
@pytest.mark.parametrize(
    ("length", "width", "high", "told"),
    [
        (1.3, 0.7, 0.9, True),
        (1.0, 0.7, 1.2, True),
        (0.7, 0.7, 0.9, True),
        (0.7, 0.7, 0.74, False),
        (1.0, 0.7, 0.74, False),
        (0.81, 0.81, 1.1, False),
    ],
)
def test_bar_too_short_for_a_pin_and_higher_than_thick_is_a_stub(
    length: float, width: float, high: float, told: bool, turn: int | None
) -> None:
    mesh = bar(length, width, high, 0.0)
    found = [x for x in thin(bodies.turned(mesh, turn) if turn else mesh, 0.8) if x.stub]
    assert [x.width_mm for x in found] == pytest.approx([width] if told else [], rel=1e-3)
    assert [x.long_mm for x in found] == pytest.approx([high] if told else [], rel=0.02)


@pytest.mark.parametrize("turn", [None, 1, 2, 3])
@pytest.mark.parametrize(("length", "high"), [(1.3, 2.5), (1.35, 4.0), (1.45, 1.5)])
def test_bar_twice_as_wide_as_thick_is_told_once(length: float, high: float, turn: int | None) -> None:
    mesh = bar(length, 0.7, high, 0.0)
    found = thin(bodies.turned(mesh, turn) if turn else mesh, 0.8)
    assert len([x for x in found if x.slender or x.stub or not (x.round or x.low)]) == 1


@pytest.mark.parametrize("turn", [None, 1, 2, 3])
@pytest.mark.parametrize("draft_deg", [3.0, 5.0, 7.0])
def test_bar_with_a_draft_is_told_once_as_a_wall(draft_deg: float, turn: int | None) -> None:
    """0.8 x 1.5 mm at its foot and 2 mm high."""
    below = np.tan(np.radians(draft_deg))
    mesh = bar(1.5 + below, 0.8 + below, 2.0, draft_deg)
    found = thin(bodies.turned(mesh, turn) if turn else mesh, 1.0)
    assert [(x.round, x.low) for x in found if x.slender or x.stub or not (x.round or x.low)] == [(False, False)]


def test_round_bump_is_no_stub() -> None:
    part = block(20, 20, 3) + Manifold.sphere(0.35, 48).translate([0, 6, 3.05])
    assert [x for x in thin(mesh_of(part), 0.8) if x.stub] == []
