"""What turns a screw: a straight tool from above, else a spanner from the side or a key with an arm at right angles."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from manifold3d import CrossSection, Manifold
from parts.orders import block, bore, plate, printed, sheet, stl, table, write

from lintsvc.order.checked import CheckedOrder
from lintsvc.order.fasteners import across_flats_mm, head_of, key_mm
from lintsvc.order.load import load_here
from lintsvc.order.relations import Screw
from lintsvc.order.tool_sizes import angled_key, spanner

#: Half of how wide a case is; its screw sits in the middle.
HALF = 30.0


def pit(inner: float, window_deg: float, *, high: float = 12.0, roof: bool = True, towards: float = 0.0) -> Manifold:
    """A plate of 3 mm with a wall about its hole, a window in it, and a roof over all."""
    wall = block(2 * HALF, 2 * HALF, high) - Manifold.cylinder(high, inner, circular_segments=256).translate(
        (HALF, HALF, 0)
    )
    half = math.radians(window_deg / 2)
    reach = 100.0
    steps = [-half + i * half / 8 for i in range(17)]
    wedge = CrossSection([[(0.0, 0.0), *((reach * math.cos(x), reach * math.sin(x)) for x in steps)]])
    wall -= Manifold.extrude(wedge, high).rotate((0, 0, towards)).translate((HALF, HALF, 0))
    solid = block(2 * HALF, 2 * HALF, 3) + wall.translate((0, 0, 3))
    if roof:
        solid += block(2 * HALF, 2 * HALF, 3).translate((0, 0, 3 + high))
    return solid - bore(HALF, HALF, -1, 5, 4.5)


def order_of(folder: Path, cover: Manifold, *, nut_side: bool = False, **screw: object) -> CheckedOrder:
    """A case screwed to a plate; `nut_side`: the head is on the plate, the nut in the case."""
    text = printed("cover", "cover.stl") + sheet("base", "base.dxf")
    case, flat = {"of": "cover", "face": "down"}, {"of": "base"}
    a, b = (flat, case) if nut_side else (case, flat)
    text += table("relation", kind="holes-meet", a=a, b=b, screw={"size": "M4", **screw})
    base = plate([(HALF, HALF, 4.5)], 2 * HALF, 2 * HALF)
    return load_here(write(folder, text, cover_stl=stl(cover), base_dxf=base))


def test_a_spanner_swings_as_far_as_its_handle_finds_the_window(tmp_path: Path) -> None:
    # A handle 7 mm wide touches the window's inner corners, 10 mm from the axis, at asin(3.5 / 10) on each side.
    order = order_of(tmp_path, pit(10.0, 80.0, towards=40.0), head="hexagon")
    (room,) = order.rooms(order.meetings[0])
    assert room.tool_mm == pytest.approx(0.0)
    (reach,) = room.reaches
    assert reach.column_mm is None
    assert reach.swing_deg == pytest.approx(80 - 2 * math.degrees(math.asin(0.35)), abs=2.0)
    assert reach.turns
    assert room.turns


@pytest.mark.parametrize(("far", "fits"), [(4.0, False), (6.0, True)])
def test_a_wall_as_near_as_the_corners_keeps_the_jaw_out(tmp_path: Path, far: float, fits: bool) -> None:
    # The jaw reaches forward as far as the corners, 7 / sqrt 3 = 4.04 mm; its arm points away from the wall.
    wall = block(5, 2 * HALF, 12).translate((HALF + far, 0, 3))
    roof = block(2 * HALF, 2 * HALF, 3).translate((0, 0, 15))
    solid = block(2 * HALF, 2 * HALF, 3) + wall + roof - bore(HALF, HALF, -1, 5, 4.5)
    order = order_of(tmp_path, solid, head="hexagon")
    (room,) = order.rooms(order.meetings[0])
    (reach,) = room.reaches
    assert (reach.holds, reach.turns) == (fits, fits)
    if not fits:
        assert "cover 4 mm from the axis towards +x" in reach.words()


def test_what_lies_in_the_mouth_of_a_spanner_lets_it_hold(tmp_path: Path) -> None:
    # Posts of 2 mm, 4 mm from the axis: one lies in the mouth, which is 7 mm wide; a second one at 90° does not.
    posts = block(2, 2, 12).translate((HALF - 1, HALF + 4, 3)) + block(2, 2, 12).translate((HALF + 4, HALF - 1, 3))
    roof = block(2 * HALF, 2 * HALF, 3).translate((0, 0, 15))
    solid = block(2 * HALF, 2 * HALF, 3) + posts + roof - bore(HALF, HALF, -1, 5, 4.5)
    order = order_of(tmp_path, solid, head="hexagon")
    (room,) = order.rooms(order.meetings[0])
    (reach,) = room.reaches
    assert not reach.holds
    folder = tmp_path / "one"
    folder.mkdir()
    order = order_of(folder, solid - block(10, 10, 12).translate((HALF + 4, HALF - 5, 3)), head="hexagon")
    (room,) = order.rooms(order.meetings[0])
    # Turned by 30.1°, the post's side meets the tip of the jaw, 3.5 mm aside and 4.04 mm forward.
    assert room.reaches[0].swing_deg == pytest.approx(60.2, abs=2.0)


def test_a_key_reaches_over_a_roof_beside_the_head(tmp_path: Path) -> None:
    # The straight tool is 7 mm across; the key only 3.4, and its arm lies above the roof.
    roof = block(2 * HALF, 20, 3).translate((0, HALF + 3.0, 12)) + block(2 * HALF, 4, 15).translate((0, 56, 0))
    order = order_of(tmp_path, block(2 * HALF, 2 * HALF, 3) + roof - bore(HALF, HALF, -1, 5, 4.5))
    (room,) = order.rooms(order.meetings[0])
    assert room.tool_mm == pytest.approx(6.0, abs=0.01)
    assert [x.turns for x in room.reaches] == [True]


@pytest.mark.parametrize(("window", "turns"), [(75.0, False), (84.0, True)])
def test_a_key_needs_sixty_degrees_at_the_height_of_its_arm(tmp_path: Path, window: float, turns: bool) -> None:
    key = angled_key(key_mm("M4"), head_of(Screw(size="M4")).height_mm)
    # Short arm 23 mm, 2 mm of it in the socket: its upper side is 25 mm above the seat, 27 while it is put in.
    assert key.heights == pytest.approx((22.0, 27.0))
    bar = block(2 * HALF, 3, 3).translate((0, HALF + 3.0, 12))
    order = order_of(tmp_path, pit(10.0, window, high=30.0, roof=False) + bar)
    (room,) = order.rooms(order.meetings[0])
    assert room.tool_mm == pytest.approx(6.0, abs=0.01)
    (reach,) = room.reaches
    # The key is 3.405 mm across.
    assert reach.swing_deg == pytest.approx(window - 2 * math.degrees(math.asin(0.17025)), abs=2.0)
    assert reach.turns is turns


def test_a_key_that_a_roof_keeps_out_is_told(tmp_path: Path) -> None:
    roof = block(2 * HALF, 2 * HALF, 3).translate((0, 0, 26)) + block(2, 2, 28)
    order = order_of(tmp_path, block(2 * HALF, 2 * HALF, 3) + roof - bore(HALF, HALF, -1, 5, 4.5))
    ((room,), nuts) = order.out_of_reach(order.meetings[0])
    assert nuts == []
    (reach,) = room.reaches
    assert reach.column_mm == pytest.approx(0.0)
    assert "cover on the axis" in reach.words()


def test_a_thin_roof_is_not_missed(tmp_path: Path) -> None:
    # Thinner than any even step between heights: half a millimetre, wherever it is.
    for number, height in enumerate((8.9, 13.1, 17.2)):
        folder = tmp_path / str(number)
        folder.mkdir()
        roof = block(2 * HALF, 2 * HALF, 0.5).translate((0, 0, height)) + block(2, 2, 20)
        order = order_of(folder, block(2 * HALF, 2 * HALF, 3) + roof - bore(HALF, HALF, -1, 5, 4.5))
        (room,) = order.rooms(order.meetings[0])
        assert room.tool_mm == pytest.approx(0.0)


def test_a_nut_under_a_roof_is_held_from_the_side(tmp_path: Path) -> None:
    order = order_of(tmp_path, pit(10.0, 50.0), nut_side=True)
    meets = order.meetings[0]
    (nut,) = order.nut_rooms(meets)
    assert nut.tool_mm == pytest.approx(0.0)
    # A window of 50° lets the handle turn by 9°: the nut is held, and the head is turned.
    assert not nut.turns
    assert nut.holds
    assert order.out_of_reach(meets) == ([], [])


def test_a_nut_that_no_tool_reaches_is_told(tmp_path: Path) -> None:
    order = order_of(tmp_path, pit(10.0, 30.0), nut_side=True)
    meets = order.meetings[0]
    heads, nuts = order.out_of_reach(meets)
    assert heads == []
    (nut,) = nuts
    assert not nut.holds


def test_sizes_are_of_the_screw() -> None:
    assert spanner(across_flats_mm("M6"), 5.2).jaw_mm == pytest.approx(22.0)
    assert spanner(10.0, 5.2).long_mm == pytest.approx(80.0)
    # JIS B 4648:2008, read in a published excerpt: a key of 5 mm has arms of 85 and 33 mm.
    key = angled_key(5.0, 6.0)
    assert key.long_mm == pytest.approx(85.0)
    assert key.heights[1] == pytest.approx(6.0 + 33.0)
    # Between two rows in proportion: 1/4 in screws; the last row for what is larger.
    assert 85.0 < angled_key(key_mm("1/4"), 6.35).long_mm < 96.0
    assert angled_key(30.0, 40.0).long_mm == pytest.approx(277.0)


@pytest.mark.parametrize(("wide", "held"), [(6.9, False), (7.2, True), (8.2, False)])
def test_a_nut_in_a_pocket_of_its_shape_is_held_by_it(tmp_path: Path, wide: float, held: bool) -> None:
    # Six-sided, 7 mm across the flats of the nut; in one of 8.2 mm its corners, 7.66 mm apart at their usual, turn.
    pocket = Manifold.cylinder(10, wide / math.sqrt(3), circular_segments=6).rotate((0, 0, 17)).translate((30, 30, 3))
    order = order_of(tmp_path, block(60, 60, 13) - pocket - bore(30, 30, -1, 5, 4.5), nut_side=True)
    meets = order.meetings[0]
    (nut,) = order.nut_rooms(meets)
    assert nut.holds is held
    assert (nut.head_mm is None) is (wide > 7)
    assert (order.out_of_reach(meets)[1] == []) is held
