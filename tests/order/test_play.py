"""Fastener formulas, tolerances and chance as an order uses them, against the standards' own examples."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from parts.orders import block, bore, holes_meet, plate, printed, sheet, square, stl, table, write

from lintsvc.handbook.finishes import finish
from lintsvc.handbook.tolerances import general_tolerance
from lintsvc.model.finding import Finding
from lintsvc.order.check import check_order
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.fasteners import closest_hole, diameter_mm, engagement_mm, pitch_mm
from lintsvc.order.load import load_here
from lintsvc.order.screw_sizes import thickness
from lintsvc.order.tolerances import bend_tolerance, size_tolerance
from lintsvc.rulebook.packs import built_in_folder, load_pack


def flange(id: str, diameter: float, tolerance: float) -> str:
    """A bought-in plate with two holes: a bought thing has no process, so only its tolerance counts."""
    holes = [{"at": [x, 0.0, 2.0], "diameter": diameter} for x in (-20.0, 20.0)]
    return table("bought", id=id, shape="box", size=[60, 40, 4], tolerance=tolerance, mass=1, holes=holes)


def between(tmp_path: Path, hole: float, other: float, tolerance: float, into: str) -> CheckedOrder:
    text = printed("any", "any.stl") + flange("a", hole, tolerance) + flange("b", other, tolerance)
    text += holes_meet("a", "b", "M3.5", screw={"into": into})
    return load_here(write(tmp_path, text, any_stl=stl(block(5, 5, 5))))


@pytest.mark.parametrize(("into", "tolerance"), [("nut", 0.44), ("thread", 0.22)])
def test_fastener_examples_of_y14_5_use_up_the_play_exactly(tmp_path: Path, into: str, tolerance: float) -> None:
    # ASME Y14.5M-1994, appendix B: hole 3.94, fastener 3.5: 0.44 floating, 0.22 fixed, for each part.
    other = 3.94 if into == "nut" else 2.9
    order = between(tmp_path, 3.94, other, tolerance, into)
    play = order.play(order.meetings[0])
    assert play.worst_mm == pytest.approx(0.0, abs=1e-9)
    assert play.chance == 1.0
    looser = between(tmp_path, 3.94, other, tolerance + 0.01, into)
    assert looser.play(looser.meetings[0]).worst_mm == pytest.approx(-0.01, abs=1e-9)


@pytest.mark.parametrize("tolerance", [0.5, 0.65, 0.8])
def test_chance_of_two_screws_is_that_of_their_pitch(tmp_path: Path, tolerance: float) -> None:
    """Two holes go together when their pitches differ by no more than both clearances: closed form, normal errors."""
    order = between(tmp_path, 3.94, 2.9, tolerance, "thread")
    play = order.play(order.meetings[0])
    # Four positions, each with three sigma at half its zone; sideways errors are turned away, the pitch's stays.
    # Both screws, M3.5 6g by ISO 965-1 (recalled): 3.354 to 3.479 thick.
    sigma = math.sqrt(4 * (tolerance / 6) ** 2 + 2 * (0.125 / 4 / 3) ** 2)
    clearance = 2 * (3.94 - (3.354 + 3.479) / 2) / 2
    assert play.chance == pytest.approx(
        math.erf(clearance / sigma / math.sqrt(2)), abs=3 * play.chance_within / 1.96 + 1e-3
    )


def test_root_sum_square_of_two_equal_zones(tmp_path: Path) -> None:
    order = between(tmp_path, 3.94, 2.9, 0.3, "thread")
    # The screw, M3.5 6g, is 3.354 to 3.479 thick (ISO 965-1, recalled).
    clearance, size = (3.94 - (3.354 + 3.479) / 2) / 2, 0.125 / 4
    assert order.play(order.meetings[0]).rss_mm == pytest.approx(clearance - math.hypot(0.15, 0.15, size), abs=1e-3)


@pytest.mark.parametrize(
    ("size", "least", "most"),
    # ISO 965-2, 6g, and ASME B1.1, 2A (in); recalled. The tables round the formulas' tolerances to preferred numbers.
    [("M3", 2.874, 2.980), ("M6", 5.794, 5.974), ("M8", 7.760, 7.972), ("1/4-20", 0.2408 * 25.4, 0.2489 * 25.4)],
)
def test_limits_of_a_screw_are_those_of_its_standard(size: str, least: float, most: float) -> None:
    found = thickness(size)
    assert (found.least_mm, found.most_mm) == (pytest.approx(least, abs=7e-3), pytest.approx(most, abs=1e-3))


def test_holes_of_uneven_size_lower_the_chance(tmp_path: Path) -> None:
    """Closed form of two screws, with the spread of the shop's holes."""
    shop = '[[measured]]\nwhat = "hole"\nprocess = "sheet"\noffset = 0.0\nspread = {}\nsizes = 60\nparts = 20\n'
    chances = []
    for spread in (0.001, 0.1):
        (tmp_path / "shop.toml").write_text(shop.format(spread), "utf-8")
        two = [(10.0, 20.0, 4.5), (50.0, 20.0, 4.5)]
        text = '[order]\nshop = "shop.toml"\n' + sheet("a", "a.dxf", tolerance=1.6)
        text += sheet("b", "b.dxf", tolerance=1.6)
        text += holes_meet("a", "b")
        order = load_here(write(tmp_path, text, a_dxf=plate(two), b_dxf=plate(two)))
        play = order.play(order.meetings[0])
        sigma = math.sqrt(4 * (1.6 / 6) ** 2 + 2 * (play.size_mm / 3) ** 2)
        assert play.chance == pytest.approx(
            math.erf(2 * play.mean_mm / sigma / math.sqrt(2)), abs=3 * play.chance_within / 1.96 + 1e-3
        )
        chances.append(play.chance)
    assert chances[1] < chances[0]


def test_fine_series_of_iso_273_and_close_fit_of_asme() -> None:
    # ISO 273:1979 fine; ASME B18.2.8 close, No. 10: 0.206 in, 1/4: 0.266 in.
    for size, hole in (("M3", 3.2), ("M4", 4.3), ("M5", 5.3), ("M6", 6.4), ("M8", 8.4)):
        found = closest_hole(size)
        assert found is not None
        assert found.value == pytest.approx(hole)
        assert found.source.kind == "standard"
    assert diameter_mm("#10") == pytest.approx(0.190 * 25.4)
    assert diameter_mm("1/4-20") == pytest.approx(6.35)
    assert pitch_mm("M4") == pytest.approx(0.7)
    assert engagement_mm("M4", "aluminium").value == pytest.approx(6.0)


def test_tolerance_is_that_of_the_process_and_the_shops_word_goes_first(tmp_path: Path) -> None:
    text = sheet("flat", "flat.dxf") + printed("print", "print.stl") + sheet("own", "flat.dxf", tolerance=0.05)
    text += sheet("soft", "flat.dxf", material="rubber")
    solid = block(60, 40, 4) - bore(30, 20, -1, 6, 5)
    order = load_here(write(tmp_path, text, flat_dxf=plate(square(4.5)), print_stl=stl(solid)))
    assert size_tolerance(order.things["flat"], 60).value == pytest.approx(0.1)
    assert size_tolerance(order.things["flat"], 200).value == pytest.approx(0.2)
    assert size_tolerance(order.things["print"], 60).value == pytest.approx(0.3)
    assert size_tolerance(order.things["own"], 60).source.kind == "shop"
    # Cut by hand: ISO 2768-1 coarse, ±0.8 over 30 to 120 mm.
    assert size_tolerance(order.things["soft"], 60) == general_tolerance(60, "c")


def test_what_a_shop_measured_goes_before_the_usual(tmp_path: Path) -> None:
    figures = 'what = "hole"\nprocess = "sheet"\noffset = -0.15\nspread = 0.02\nsizes = 24\nparts = 6\n'
    (tmp_path / "shop.toml").write_text(f"[[measured]]\n{figures}", "utf-8")
    parts = sheet("a", "a.dxf") + sheet("b", "a.dxf") + holes_meet("a", "b")
    with_shop = load_here(write(tmp_path, f'[order]\nshop = "shop.toml"\n{parts}', a_dxf=plate(square(4.5))))
    without = load_here(write(tmp_path, parts))
    one, other = (x.play(x.meetings[0]).clearance_mm.min() for x in (with_shop, without))
    # Each of the two holes comes out 0.15 mm small in diameter.
    assert other - one == pytest.approx(0.15)


HOLES_SMALL = '[[measured]]\nwhat = "hole"\nprocess = "sheet"\noffset = -0.15\nspread = 0.02\nsizes = 24\nparts = 6\n'


def findings(tmp_path: Path, rule: str, shop: str, a: bytes, b: bytes, **more: object) -> list[Finding]:
    """What a rule says of two plates screwed to each other, with what a shop's record holds."""
    (tmp_path / "shop.toml").write_text(shop, "utf-8")
    text = '[order]\nshop = "shop.toml"\n' + sheet("a", "a.dxf", **more) + sheet("b", "b.dxf") + holes_meet("a", "b")
    wanted = [x for x in load_pack(built_in_folder() / "fit").rules if x.id == rule]
    return list(check_order(load_here(write(tmp_path, text, a_dxf=a, b_dxf=b)), wanted).findings)


def test_a_hole_is_judged_as_it_comes_out_of_the_shop(tmp_path: Path) -> None:
    # ISO 273, fine: 4.3 for M4. 4.5 arrives as 4.35, 4.4 as 4.25.
    rule = "fit/clearance-hole-tight"
    assert findings(tmp_path, rule, HOLES_SMALL, plate(square(4.5)), plate(square(4.5))) == []
    assert findings(tmp_path, rule, "", plate(square(4.4)), plate(square(4.5))) == []
    (found,) = findings(tmp_path, rule, HOLES_SMALL, plate(square(4.4)), plate(square(4.5)))
    assert found.measured.value == pytest.approx(4.25)
    assert "24 holes measured on 6 parts came out 0.15 mm small" in found.message
    # What is wide enough as it arrives, and not with 0.05 mm on its wall, is the finish's.
    rule = "fit/finish-eats-play"
    more = {"finish": "paint", "finish_per_face": 0.05}
    (found,) = findings(tmp_path, rule, HOLES_SMALL, plate(square(4.5)), plate(square(4.5)), **more)
    assert found.measured.value == pytest.approx(4.25)
    assert findings(tmp_path, rule, "", plate(square(4.5)), plate(square(4.5)), **more) == []


def test_screws_have_as_much_to_move_as_the_holes_that_arrive_leave(tmp_path: Path) -> None:
    # Pitches 1 mm apart put each hole 0.5 mm off; two holes of 4.6 leave 0.6 as drawn, and 0.45 from this shop.
    rule = "fit/holes-do-not-meet"
    a, b = plate(square(4.6)), plate(square(4.6, x=39.0))
    assert findings(tmp_path, rule, "", a, b) == []
    (found,) = findings(tmp_path, rule, HOLES_SMALL, a, b)
    assert found.limit is not None
    assert (found.measured.value, found.limit.value) == (pytest.approx(0.5), pytest.approx(0.45))
    assert "came out 0.15 mm small" in found.limit.source.text


def test_what_few_sizes_show_is_taken_with_the_usual_spread(tmp_path: Path) -> None:
    shop = '[[measured]]\nwhat = "{}"\nprocess = "sheet"\noffset = {}\nspread = 0.01\nsizes = 3\nparts = 1\n'
    (tmp_path / "shop.toml").write_text(shop.format("length", -0.2) + shop.format("bend", 0.5), "utf-8")
    text = '[order]\nshop = "shop.toml"\n' + sheet("a", "a.dxf")
    order = load_here(write(tmp_path, text, a_dxf=plate(square(4.5))))
    # ±0.1 mm and ±1° are usual.
    assert size_tolerance(order.things["a"], 60).value == pytest.approx(0.3)
    assert bend_tolerance(order.part("a"))[0] == pytest.approx(1.5)
    assert "3 bends measured on 1 part" in bend_tolerance(order.part("a"))[2].text


def test_finishes_move_faces_by_what_their_source_says() -> None:
    # MIL-A-8625F, type II: at most 25.4 µm, half of it outward (recalled); powder coat 60 to 120 µm (practice).
    assert finish("anodise").most_mm == pytest.approx(0.0127)
    assert (finish("powder-coat").least_mm, finish("powder-coat").most_mm) == (0.06, 0.12)
    assert finish(None).most_mm == 0.0
    with pytest.raises(ValueError, match="there are none, anodise"):
        finish("gold")
