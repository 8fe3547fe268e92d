"""Lines that are wrong in themselves: repeated, crossing, stray, open, too fine, too sharp."""

from __future__ import annotations

import math

import pytest
from parts.flats import loop, measured, plate, polygon, rectangle, ring, sheet, slot, turned

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Arc, Circle, Line, Polyline, Shape


def test_a_plate_drawn_twice_is_one_plate() -> None:
    flat = measured(*plate(), *[Line(x.end, x.start) for x in plate()])
    assert len(flat.contours) == 1
    (twice,) = flat.duplicates
    assert (twice.copies, twice.length_mm) == (4, pytest.approx(320))


@pytest.mark.parametrize(
    "pair",
    [
        (Circle((50, 30), 5), Circle((50, 30), 5)),
        (Circle((50, 30), 5), Arc((50, 30), 5, 0, 360)),
        (loop(rectangle(40, 20, 20, 10)), loop([*rectangle(40, 20, 20, 10)[2:], *rectangle(40, 20, 20, 10)[:2]])),
        (loop(rectangle(40, 20, 20, 10)), ring(rectangle(40, 20, 20, 10))),
        (Circle((50, 30), 5), [Arc((50, 30), 5, 10, 200), Arc((50, 30), 5, 200, 370)]),
        (Circle((50, 30), 5), Circle((50.02, 30), 5.01)),
    ],
)
def test_a_cutout_drawn_twice_is_one_however_it_is_drawn(pair: tuple[object, object]) -> None:
    flat = measured(*plate(), *pair)  # type: ignore[arg-type]
    assert [x.role for x in flat.contours] == ["outer", "cutout"]
    assert len(flat.duplicates) == 1 and {4, 5} <= set(flat.duplicates[0].entities)


def test_alike_things_side_by_side_are_no_copies() -> None:
    square, star = rectangle(-5, -5, 10, 10), polygon(0, 0, 5 * math.sqrt(2), 4)
    for pair in (
        (loop([(x + 50, y + 30) for x, y in square]), loop([(x + 50, y + 30) for x, y in star])),
        (Circle((50, 30), 5), Circle((50, 30), 5.1)),
        (Arc((50, 30), 5, 0, 180), Line((55, 30), (45, 30))),
        (Circle((30, 30), 5), Circle((50, 30), 5)),
    ):
        assert not measured(*plate(), *pair).duplicates


def test_pieces_drawn_over_each_other_are_measured() -> None:
    flat = measured(*plate(), Line((100, 10), (100, 50)))
    assert [(x.whole, x.length_mm) for x in flat.duplicates] == [(False, pytest.approx(40))]
    # A spike out and back along itself.
    flat = measured(loop([(0, 0), (100, 0), (100, 60), (50, 60), (50, 80), (50, 60), (0, 60)]))
    assert [(x.whole, x.length_mm) for x in flat.duplicates] == [(False, pytest.approx(20))]


def test_arcs_of_one_circle_overlap_or_follow_each_other() -> None:
    follow = [Arc((50, 30), 5, 0, 180), Arc((50, 30), 5, 180, 360)]
    assert not measured(*plate(), *follow).duplicates
    over = [Arc((50, 30), 5, 0, 200), Arc((50, 30), 5, 180, 360)]
    flat = measured(*plate(), *over)
    (twice,) = flat.duplicates
    assert twice.length_mm == pytest.approx(5 * math.radians(20)) and not flat.self_crossings


def test_tangent_and_touching_curves_do_not_cross() -> None:
    # Slot ends are tangent to their sides; a circle rests on an edge; two circles kiss.
    flat = measured(*plate(), *slot(50, 30, 20, 6), Circle((20, 5), 5), Circle((30, 5), 5))
    assert not flat.self_crossings and not flat.overlaps


@pytest.mark.parametrize("turn_deg", [0.0, 31.7])
@pytest.mark.parametrize(("deep_mm", "count"), [(-0.0014, 0), (0.0, 0), (0.0014, 0), (0.015, 0), (0.03, 1), (0.5, 1)])
def test_contours_over_each_other_by_a_hair_touch(deep_mm: float, count: int, turn_deg: float) -> None:
    pairs: dict[str, list[Shape]] = {
        "circles": [Circle((30, 30), 6), Circle((42 - deep_mm, 30), 6)],
        "circle in circle": [Circle((30, 30), 10), Circle((36 + deep_mm, 30), 4)],
        "squares": [*ring(rectangle(20, 20, 10, 10)), *ring(rectangle(30 - deep_mm, 22, 10, 10))],
        "circle and square": [Circle((30, 30), 6), *ring(rectangle(36 - deep_mm, 25, 10, 10))],
        "slot and square": [*slot(30, 30, 12, 6), *ring(rectangle(36 - deep_mm, 25, 10, 10))],
        "corner and side": [loop([(20, 20), (30, 30), (20, 40)]), *ring(rectangle(30 - deep_mm, 20, 9, 20))],
        "hole and edge": [Circle((5 - deep_mm, 30), 5)],
        "window and edge": ring(rectangle(-deep_mm, 20, 10, 10)),
    }
    for name, drawn in pairs.items():
        flat = FlatMeasurements(turned(sheet(*plate(), *drawn), turn_deg), Choices(), None)
        assert len(flat.overlaps) == count, name
        # Nothing is left between what touches: a web of no width. A circle inside a cutout has no web around it.
        if not count and name != "circle in circle":
            assert flat.webs(1.0)[0].width_mm <= 0.02, name


def test_crossing_cutouts_share_an_area() -> None:
    flat = measured(*plate(), Circle((45, 30), 6), Circle((53, 30), 6))
    (overlap,) = flat.overlaps
    # Lens of two circles of radius 6, 8 apart.
    lens = 2 * 36 * math.acos(4 / 6) - 4 * math.sqrt(4 * 36 - 64)
    assert overlap.area_mm2 == pytest.approx(lens, rel=0.01) and not overlap.through_edge
    assert flat.kind_of_overlap(overlap) == "cutouts"
    assert flat.area_mm2 == pytest.approx(6000 - (2 * 36 * math.pi - lens), rel=1e-4)


def test_crossings_through_corners_are_found() -> None:
    # Corners of each square lie on sides of the other: no side crosses a side in its middle.
    one, other = rectangle(20, 20, 10, 10), rectangle(25, 25, 10, 10)
    assert len(measured(*plate(), *ring(one), *ring(other)).overlaps) == 1
    diamond = [(20, 20), (25, 15), (30, 20), (25, 25)]
    assert len(measured(*plate(), loop(one), loop(diamond)).overlaps) == 1


def test_a_spike_that_crosses_is_told_with_the_size_of_its_loop() -> None:
    big = measured(loop([(0, 0), (100, 0), (0, 60), (100, 60)])).self_crossings[0]
    assert big.crosses and big.loop_mm > 100
    small = [(0, 0), (100, 0), (100, 60), (49.92, 60), (49.92, 59.95), (50, 59.95), (50, 60.05), (0, 60.05)]
    tiny = measured(loop(small)).self_crossings[0]
    assert tiny.crosses and tiny.loop_mm == pytest.approx(0.26)


def test_slits_leftovers_and_broken_lines_are_told_apart() -> None:
    slits = [Line((10 + 5 * k, 10), (10 + 5 * k, 50)) for k in range(5)]
    flat = measured(*plate(), *slits, Line((120, 0), (125, 0)), Line((120, 20), (160, 20)))
    assert sorted(x.kind for x in flat.open_chains) == ["broken", "leftover", *["slit"] * 5]
    assert [x.what for x in flat.strays] == ["line outside the part"]


def test_lines_without_length_are_strays_only_where_they_join_nothing() -> None:
    speck = Polyline(((50.0, 30.0), (50.0004, 30.0)))
    assert [x.entities for x in measured(*plate(), speck).strays] == [(4,)]
    hair = [Line((0, 0), (100, 0)), Line((100, 0), (100.0005, 0)), *ring([(100, 0), (100, 60), (0, 60), (0, 0)])[:3]]
    flat = measured(*hair)
    assert len(flat.contours) == 1 and not flat.strays


def test_inside_corners_with_their_radius() -> None:
    ell = [(0, 0), (100, 0), (100, 20), (40, 20), (40, 60), (0, 60)]
    (corner,) = measured(loop(ell)).inside_corners
    assert (corner.radius_mm, corner.turn_deg, corner.point) == (0.0, pytest.approx(90), (40, 20))
    window = measured(*plate(), loop(rectangle(20, 20, 20, 20)))
    assert len(window.inside_corners) == 4
    # Rounded by arcs; outside corners and round holes have none.
    r = 3.0
    lines = [Line((40 + r, 20), (100, 20)), Line((100, 20), (100, 0)), Line((100, 0), (0, 0)), Line((0, 0), (0, 60))]
    lines += [Line((0, 60), (40, 60)), Line((40, 60), (40, 20 + r))]
    (corner,) = measured(*lines, Arc((40 + r, 20 + r), r, 180, 270)).inside_corners
    assert corner.radius_mm == r
    round_ones = Circle((50, 30), 5), *slot(50, 10, 20, 6), loop(polygon(20, 30, 4, 12))
    assert not measured(*plate(), *round_ones).inside_corners


def test_tips_with_their_angle() -> None:
    half = 20 * math.tan(math.radians(10))
    notch = [(0, 0), (100, 0), (100, 60), (50 + half, 60), (50, 40), (50 - half, 60), (0, 60)]
    (tip,) = measured(loop(notch)).tips
    assert (tip.side, tip.angle_deg, tip.point) == ("void", pytest.approx(20), (50, 40))
    (tip,) = measured(loop([(0, 0), (20, 0), (0, 7)])).tips
    assert (tip.side, tip.angle_deg) == ("material", pytest.approx(math.degrees(math.atan(7 / 20))))


def test_points_of_splines_are_not_counted_as_drawn() -> None:
    from dataclasses import replace

    from parts.flats import sheet

    from lintsvc.measure.flats import FlatMeasurements
    from lintsvc.model.choices import Choices

    fine = sheet(loop(polygon(0, 0, 30, 3000)))
    (found,) = FlatMeasurements(fine, Choices(), None).fine_contours
    # r (1 − cos(π / n)) = 0.01 gives 122 points for r = 30; simplified from given points it takes a few more.
    assert found.drawn == 3000 and 100 <= found.needed <= 200
    spline = replace(fine, entities=tuple(replace(x, kind="spline") for x in fine.entities))
    assert not FlatMeasurements(spline, Choices(), None).fine_contours
