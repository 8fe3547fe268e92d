"""How far a wall stands from what holds it: other material that is larger than the wall, along a good part of it."""

from __future__ import annotations

import pytest
from manifold3d import Manifold
from parts.bodies import body
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements


def reach(extra: Manifold | None = None) -> float:
    """Of a wall 30 x 1 x 28 mm on a plate, with something on its one face."""
    part = block(40, 16, 4) + block(30, 1, 30).translate([0, 0, 2])
    wall = BodyMeasurements(body(mesh_of(part + extra if extra is not None else part))).panels(1.5)[0]
    assert wall.free
    return wall.reach_mm


def test_wall_stands_as_far_as_it_is_high() -> None:
    assert reach() == pytest.approx(28, abs=0.2)


@pytest.mark.parametrize(("out", "held"), [(0.4, False), (4.0, True)])
def test_raised_stripe_holds_nothing_and_a_shelf_does(out: float, held: bool) -> None:
    stripe = block(30, out + 0.5, 1.2).translate([0, (out + 0.5) / 2, 18])
    assert (reach(stripe) < 20) is held


def test_small_boss_holds_nothing() -> None:
    assert reach(cylinder(2, 5, 24).rotate([-90, 0, 0]).translate([0, 0, 20])) == pytest.approx(28, abs=0.2)


def test_gusset_holds() -> None:
    gussets = [block(1.5, 7, 24).translate([x, 3.5, 2]) for x in (-14.0, 14.0)]
    assert reach(gussets[0] + gussets[1]) < 20


@pytest.mark.parametrize(("out", "held"), [(0.4, False), (0.8, False), (4.0, True)])
@pytest.mark.parametrize("levels", [(18.0,), (12.0, 22.0)])
def test_ribs_level_on_both_faces_are_judged_like_those_on_one(
    out: float, held: bool, levels: tuple[float, ...]
) -> None:
    """They part both faces in two, and the upper wall stands on what the lower one does."""
    ribs = Manifold()
    for z in levels:
        ribs += block(30, 2 * out + 1, 1.2).translate([0, 0, z])
    assert (reach(ribs) < 20) is held
    if not held:
        assert reach(ribs) == pytest.approx(28, abs=0.2)
