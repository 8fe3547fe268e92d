"""Folded panels that run into each other, and an order of bends that a straight punch can make."""

from __future__ import annotations

import math

import pytest
from parts import folds as made
from parts.folds import R, T
from shapely.geometry import Point, box

from lintsvc.measure.fold import Folded, fold
from lintsvc.measure.fold_collide import collisions
from lintsvc.measure.fold_order import BendOrder, bend_order
from lintsvc.measure.fold_tools import Tooling


def folded(straights: list[float], angles: list[float], width: float = 50.0) -> Folded:
    return fold(*made.strip(straights, angles, width), T)


@pytest.mark.parametrize(
    ("straights", "angles"),
    [
        ([40, 30], [90]),
        ([30, 60, 30], [90, 90]),
        ([30, 20, 30], [90, -90]),
        ([50, 20], [180]),
        ([20] * 5, [60, -60] * 2),
    ],
)
def test_parts_that_fold_freely_have_no_collision(straights: list[float], angles: list[float]) -> None:
    assert collisions(folded(straights, angles)) == []


def test_tray_whose_walls_meet_at_its_corners_has_no_collision() -> None:
    assert collisions(fold(*made.tray((80, 50), 20), T)) == []


def test_walls_too_long_for_their_corner_run_into_each_other() -> None:
    outline, bends = made.tray((80, 50), 20)
    # Two walls are 6 mm longer at one end than their bends: they cross beyond the corner of the base.
    outline = outline.union(box(46.1, 20, 66, 32)).union(box(30, 31.1, 46, 51))
    (found,) = [x for x in collisions(fold(outline, bends, T)) if x.overlap_mm3 > 1]
    assert len(set(found.panels)) == 2
    assert 0 not in found.panels
    # Each stands R + t outside the base's edge, T thick; that is where they cross, from the bends to the rim.
    assert found.point[:2] == pytest.approx((40 + R + T / 2, 25 + R + T / 2), abs=0.1)
    assert found.overlap_mm3 == pytest.approx(T * T * 20, rel=0.2)


def test_roll_that_closes_on_itself_is_found_with_its_depth() -> None:
    # Four right angles up: the last panel (60) lies on the first (60), in one plane.
    part = folded([60, 20, 30, 20, 60], [90, 90, 90, 90])
    (found,) = collisions(part)
    assert set(found.panels) == {0, 1}
    # By hand: the legs of 20 fold back onto one level; the ends run past each other by 60 − (30 + 2·(R)) …
    level = 20 + 2 * R + T
    assert found.overlap_mm3 > 0.5 * 50 * T * 20
    assert abs(found.box[1][2] - found.box[0][2]) <= T
    assert abs(found.point[2] - T / 2) < level
    for panel, at in zip(found.panels, found.flat, strict=True):
        assert part.panels[panel].buffer(0.2).contains(Point(at))


def test_tab_through_a_slot_is_no_collision() -> None:
    # A channel whose web has a window; the last panel comes back through it.
    outline, bends = made.strip([20, 60, 20, 25], [90, 90, 90], 50)
    tab = outline.difference(box(138, 0, 400, 15)).difference(box(138, 35, 400, 50))
    shut = collisions(fold(tab, bends, T))
    window = box(20 + made.allowance(90) + 18, 10, 20 + made.allowance(90) + 58, 40)
    opened = collisions(fold(tab.difference(window), bends, T))
    assert opened == [] or sum(x.overlap_mm3 for x in opened) < sum(x.overlap_mm3 for x in shut)


def order(straights: list[float], angles: list[float], tooling: Tooling | None = None) -> BendOrder:
    return bend_order(folded(straights, angles), tooling)


def test_simple_parts_have_an_order() -> None:
    for straights, angles in (([40, 30], [90]), ([30, 60, 30], [90, 90]), ([30, 40, 30], [90, -90])):
        found = order(straights, angles)
        assert found.order is not None
        assert sorted(b for op in found.order for b in op) == list(range(len(angles)))
        assert found.blocked == ()


def test_deep_narrow_channel_cannot_be_made_with_a_straight_punch() -> None:
    # While the second bend is made, the first flange leans over the punch: legs longer than the web by more
    # than the punch is wide have no room (common practice: flange at most as long as the web).
    found = order([80, 25, 80], [90, 90])
    assert found.order is None
    assert found.searched
    assert {x.tool for x in found.blocked} == {"punch"}
    assert "punch" in found.tooling.stated


def test_high_legs_meet_the_beam_above_the_punch() -> None:
    # With the second bend made the rim of the first leg is some (206 + 183) / √2 = 275 mm above the punch's tip, and
    # (206 − 183) / √2 = 16 mm from its middle: beside a punch that is high enough.
    found = order([180, 200, 180], [90, 90])
    assert found.order is None
    assert {x.tool for x in found.blocked} == {"beam"}
    assert order([180, 200, 180], [90, 90], Tooling(16, punch_height_mm=290)).order is not None


@pytest.mark.parametrize(("wall", "possible"), [(66, True), (76, False)])
def test_a_box_is_as_deep_as_the_punch_is_high(wall: float, possible: bool) -> None:
    # The walls at both ends of the last bend rise past the punch's ends. Over the beam's rim, 20 mm from the
    # middle, their height is √2 · wall + 20: at most the punch's 120 mm, so that a wall is about 71 mm at most.
    assert (bend_order(fold(*made.tray((200, 150), wall), T)).order is not None) is possible


def test_a_hem_is_pressed_flat_without_a_punch() -> None:
    outline, bends = made.strip([15, 60, 40], [180, 90], radius=1.0)
    assert bend_order(fold(outline, bends, T)).order == ((0,), (1,))


def test_bends_far_out_go_first() -> None:
    assert order([15, 40, 120, 40, 15], [90] * 4).order == ((0,), (3,), (1,), (2,))


def test_a_narrower_punch_makes_what_a_wide_one_cannot() -> None:
    # By hand: with the second bend made, the first flange's rim is (38 + 2 R − 25 − R) / √2 = 11 mm from the
    # plane of the punch.
    straights, angles = [25, 38, 25], [90, 90]
    assert order(straights, angles, Tooling(16, punch_width_mm=60)).order is None
    assert order(straights, angles, Tooling(16, punch_width_mm=4)).order is not None


def test_order_matters_for_a_hook() -> None:
    # A lip on a flange: once the flange stands, the lip can still be bent; the lip first leaves the punch no
    # room only where it is long. Whatever the answer, each step of it must be free.
    found = order([12, 30, 60], [90, 90])
    assert found.order is not None


def test_pieces_of_one_bend_are_one_operation() -> None:
    outline, bends = made.strip([40, 30], [90])
    part = fold(outline.difference(box(35, 20, 50, 30)), bends, T)
    assert bend_order(part).order == ((0,),)


def test_search_is_given_up_in_bounded_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lintsvc.measure.fold_order._MOST_TRIES", 3)
    found = order([20, 30, 20, 30, 20, 30], [90, -90, 90, -90, 90])
    assert found.order is None
    assert not found.searched


def test_tools_stand_where_they_should() -> None:
    tooling = Tooling(die_opening_mm=16)
    punch, die = tooling.punch(50), tooling.die(50)
    assert tuple(punch.bounding_box()) == pytest.approx((-6, -25, 0, 6, 25, 120))
    assert tuple(die.bounding_box()) == pytest.approx((-20, -25, -90, 20, 25, 0))
    assert die.volume() == pytest.approx(50 * (40 * 90 - 8 * 8))
    shoulder = 6 / math.tan(math.radians(85) / 2)
    assert punch.volume() == pytest.approx(50 * (12 * (120 - shoulder) + 6 * shoulder))
    low, high = tooling.beam().bounding_box()[:3], tooling.beam().bounding_box()[3:]
    assert (low[0], high[0], low[2]) == pytest.approx((-20, 20, 120))
    assert Tooling(die_opening_mm=48).die_width_mm > 48
