"""Webs, necks and slots against distances worked out by hand."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts.flats import cut_up, loop, measured, plate, polygon, rectangle, ring, sheet, slot

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Arc, Circle, Line


def widths(places: list[object]) -> list[float]:
    return [x.width_mm for x in places]  # type: ignore[attr-defined]


def test_web_between_circles_is_exact() -> None:
    flat = measured(*plate(), Circle((40, 30), 5), Circle((51.1, 30), 5))
    (web,) = flat.webs(3.0)
    assert web.width_mm == pytest.approx(1.1, abs=1e-12)
    assert (web.start, web.end) == (pytest.approx((45, 30)), pytest.approx((46.1, 30)))


def test_web_between_a_circle_and_a_straight_edge_is_exact() -> None:
    (web,) = measured(*plate(), Circle((3, 30), 2)).webs(3.0)
    assert web.width_mm == pytest.approx(1.0, abs=1e-12)
    # A slanting edge: the line x + y = 20 lies 20/√2 from the origin.
    corner = ring([(0, 0), (20, 0), (0, 20)])
    (web,) = measured(*corner, Circle((6, 6), 4.5)).webs(1.3)
    assert web.width_mm == pytest.approx((20 - 12) / math.sqrt(2) - 4.5, abs=1e-12)


def test_web_to_the_rim_of_a_disc_is_exact() -> None:
    (web,) = measured(Circle((0, 0), 30), Circle((15, 10), 10)).webs(3.0)
    assert web.width_mm == pytest.approx(30 - math.hypot(15, 10) - 10, abs=1e-12)
    # From the corner of a square cutout, the furthest from the middle.
    flat = measured(Circle((0, 0), 30), *ring(rectangle(10, 10, 10.5, 10.5)))
    assert min(widths(flat.webs(3.0))) == pytest.approx(30 - 20.5 * math.sqrt(2), abs=1e-9)


def test_web_between_slots_is_exact_on_their_arcs() -> None:
    # Ends of two slots in line, 1.3 mm apart, the arcs drawn as arcs.
    flat = measured(*plate(), *slot(30, 30, 20, 8), *slot(51.3, 30, 20, 8))
    assert widths(flat.webs(2.0)) == pytest.approx([1.3], abs=1e-6)
    # Side by side.
    flat = measured(*plate(), *slot(30, 20, 20, 8), *slot(30, 29.3, 20, 8))
    assert widths(flat.webs(2.0)) == pytest.approx([1.3], abs=1e-9)


def test_arc_against_arc_is_measured_on_true_arcs() -> None:
    # Two lenses whose bulges face each other off the axes of their chords' points.
    def lens(x: float, y: float) -> list[Arc]:
        return [
            Arc((x - 3, y), 5, -53.13010235415598, 53.13010235415598),
            Arc((x + 3, y), 5, 126.86989764584402, 233.13010235415598),
        ]

    flat = measured(*plate(), *lens(40, 30), *lens(44.7, 31.7))
    # Right bulge of the first about (37, 30), left bulge of the second about (47.7, 31.7), both of radius 5.
    assert widths(flat.webs(2.0)) == pytest.approx([math.hypot(10.7, 1.7) - 10], abs=1e-6)


def test_a_web_to_arcs_cut_up_is_measured_on_the_arc_next_to_the_cut() -> None:
    # The nearest point of the circle of 1.8 mm lies just beside a joint of its arcs.
    at = math.degrees(math.atan2(4.5, 5.9))
    arcs = [Arc((40, 30), 1.8, at + 1.5, at + 180), Arc((40, 30), 1.8, at + 180, at + 361.5)]
    flat = measured(*plate(), Circle((45.9, 34.5), 5.2), *arcs)
    assert widths(flat.webs(2.0)) == pytest.approx([math.hypot(5.9, 4.5) - 7.0], abs=1e-6)


def test_each_web_is_one_place() -> None:
    # A long slot beside the edge is one web; three holes beside it are three.
    assert len(measured(*plate(), loop(rectangle(10, 1, 80, 5))).webs(2.0)) == 1
    assert len(measured(*plate(), *(Circle((20 + 20 * k, 3), 2) for k in range(3))).webs(2.0)) == 3
    # In a corner of the plate a hole has a web to both edges.
    assert len(measured(*plate(), Circle((3, 3), 2)).webs(2.0)) == 2


def test_no_web_across_another_cutout() -> None:
    flat = measured(*plate(), Circle((40, 30), 5), Circle((47, 30), 1), Circle((54, 30), 5))
    # From the first to the third it is 4 mm, with the second in between.
    assert sorted(widths(flat.webs(5.0))) == pytest.approx([1.0, 1.0])
    flat = measured(*plate(), Circle((40, 30), 5), loop(rectangle(46, 20, 1, 20)), Circle((53, 30), 5))
    assert sorted(widths(flat.webs(4.0))) == pytest.approx([1.0, 1.0])


def test_no_web_between_parts_or_to_an_island() -> None:
    assert not measured(*plate(), *ring(rectangle(101, 0, 100, 60))).webs(3.0)
    assert not measured(*plate(), Circle((50, 30), 10), Circle((50, 30), 9.5)).webs(3.0)


def test_the_sharp_corner_of_a_plate_is_no_neck() -> None:
    assert not measured(*ring([(0, 0), (100, 0), (0, 20)])).narrow(3.0)
    assert not measured(*plate(), loop([(30, 30), (50, 30), (30, 40)])).webs(3.0)


def test_a_waist_a_tongue_and_a_strip_are_necks() -> None:
    waist = [(0, 0), (40, 0), (50, 29), (60, 0), (100, 0), (100, 60), (60, 60), (50, 31), (40, 60), (0, 60)]
    assert widths(measured(loop(waist)).necks(3.0)) == pytest.approx([2.0])
    tongue = [(0, 0), (20, 0), (20, 10), (11, 10), (11, 15), (10, 15), (10, 10), (0, 10)]
    (neck,) = measured(loop(tongue)).necks(3.0)
    assert (neck.width_mm, neck.depth_mm) == (pytest.approx(1.0), pytest.approx(5.0))
    assert widths(measured(*plate(100, 1.5)).necks(3.0)) == pytest.approx([1.5])


def test_a_bump_as_high_as_wide_is_a_detail() -> None:
    bump = [(0, 0), (20, 0), (20, 10), (11, 10), (11, 11), (10, 11), (10, 10), (0, 10)]
    flat = measured(loop(bump))
    assert not flat.necks(3.0)
    assert [(x.side, x.width_mm) for x in flat.details(3.0)] == [("material", pytest.approx(1.0))]


def test_slots_are_measured_square_across() -> None:
    assert widths(measured(*plate(), *slot(50, 30, 20, 1.5)).narrow_slots(3.0)) == pytest.approx([1.5])
    # Turned by 30 degrees.
    c, s = math.cos(math.pi / 6), math.sin(math.pi / 6)
    tilted = [(50 + c * x - s * y, 30 + s * x + c * y) for x, y in rectangle(-10, -0.75, 20, 1.5)]
    assert widths(measured(*plate(), loop(tilted)).narrow_slots(3.0)) == pytest.approx([1.5])
    # An open slot from the edge, and a square window narrow both ways.
    notch = [(0, 0), (20, 0), (20, 10), (11, 10), (11, 5), (10, 5), (10, 10), (0, 10)]
    assert widths(measured(loop(notch)).narrow_slots(3.0)) == pytest.approx([1.0])
    assert widths(measured(*plate(), loop(rectangle(50, 30, 1, 1.2))).narrow_slots(3.0)) == pytest.approx([1.0])


def relieved(radius: float) -> list[Line | Arc]:
    """A window of 40 x 30 with a round relief at its upper right corner, on the corner, open over a quarter."""
    reach = 40 - radius, 30 - radius
    sides = [(20 + reach[0], 40.0), (20.0, 40.0), (20.0, 10.0), (60.0, 10.0), (60.0, 10 + reach[1])]
    return [*(Line(a, b) for a, b in pairwise(sides)), Arc((60, 40), radius, 270, 180)]


def test_mouth_of_a_relief_is_no_slot_where_the_relief_is_wide_enough() -> None:
    # Ø2, and its mouth is 2 sin 45° = 1.414 wide: nothing is narrow there for longer than a point.
    assert not measured(*plate(), *relieved(1.0)).narrow_slots(2.0)
    assert widths(measured(*plate(), *relieved(0.9)).narrow_slots(2.0)) == pytest.approx([0.9 * math.sqrt(2)])


def test_round_holes_are_no_slots() -> None:
    assert not measured(*plate(), Circle((50, 30), 0.5), loop(polygon(20, 20, 0.5, 24))).narrow_slots(3.0)


def test_a_comb_has_a_slot_for_each_gap() -> None:
    comb: list[tuple[float, float]] = [(0, 0), (100, 0), (100, 30)]
    for k in range(9, -1, -1):
        x = 5 + 9 * k
        comb += [(x + 1, 30), (x + 1, 10), (x, 10), (x, 30)]
    flat = measured(loop([*comb, (0, 30)]))
    assert widths(flat.narrow_slots(2.0)) == pytest.approx([1.0] * 10)
    assert not flat.necks(3.0)


def test_a_finely_drawn_contour_is_measured_alike() -> None:
    # 20,000 corners on circles of 30 and 29 mm: a ring 1 mm wide but for facets.
    flat = measured(loop(polygon(0, 0, 30, 20000)), loop(polygon(0, 0, 29, 20000)))
    assert widths(flat.webs(2.0)) == pytest.approx([1.0], abs=0.003)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.2, 2.5), st.floats(0.0, 360.0), st.floats(1.0, 20.0), st.floats(1.0, 20.0), st.floats(-50, 50))
def test_web_between_two_circles_anywhere(gap: float, turn: float, r: float, q: float, far: float) -> None:
    a = math.radians(turn)
    x, y = far + (r + q + gap) * math.cos(a), (r + q + gap) * math.sin(a)
    flat = measured(loop(rectangle(-200, -200, 400, 400)), Circle((far, 0.0), r), Circle((x, y), q))
    assert widths(flat.webs(3.0)) == pytest.approx([gap], abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.3, 2.5), st.floats(0.0, 360.0), st.floats(2.0, 15.0), st.integers(3, 9))
def test_web_between_a_circle_and_a_polygon_agrees_with_shapely(gap: float, turn: float, r: float, sides: int) -> None:
    import shapely

    window = polygon(0, 0, 12, sides, turn)
    far = 12 + r + gap
    flat = measured(loop(rectangle(-200, -200, 400, 400)), loop(window), Circle((far, 0.0), r))
    distance = shapely.distance(shapely.Polygon(window), shapely.Point(far, 0)) - r
    # Two corners as near as each other are two places of one width.
    found = widths(flat.webs(max(3.0, distance + 0.5)))
    assert min(found) == pytest.approx(distance, abs=1e-9)


#: Cutouts with no two sides that face each other for longer than they are apart, and the widest circle in each.
ODD = {
    "triangle": ([(30, 30), (32, 30), (31, 31)], 2 * (math.sqrt(2) - 1)),
    "pentagon": (polygon(30, 30, 0.6, 5, 12), 1.2 * math.cos(math.pi / 5)),
    "square": (polygon(30, 30, 0.6, 4, 12), 1.2 * math.cos(math.pi / 4)),
    "kite": ([(30.6, 30), (30, 30.5), (29.4, 30), (30, 28.8)], 4.08 / (2 * (math.sqrt(0.61) + math.sqrt(1.8)))),
    "wide L": ([(30, 30), (31.5, 30), (31.5, 30.8), (30.8, 30.8), (30.8, 31.5), (30, 31.5)], 1.6 * (2 - math.sqrt(2))),
}


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("cut", [None, 3, 4])
def test_a_cutout_is_as_narrow_as_the_widest_circle_in_it(odd: str, cut: int | None) -> None:
    points, width = ODD[odd]
    drawn = sheet(*plate(), *ring(points))
    flat = FlatMeasurements(drawn if cut is None else cut_up(drawn, cut), Choices(thickness_mm=2.0), None)
    assert widths(flat.narrow_slots(width + 0.01)) == pytest.approx([width], abs=2e-3)
    assert not flat.narrow_slots(width - 0.01)


def test_half_a_disc_is_as_narrow_as_its_radius_however_its_arc_is_cut_up() -> None:
    for cut in (60.0, 90.0, 131.0):
        half = [Arc((30, 30), 0.5, 0, cut), Arc((30, 30), 0.5, cut, 180), Line((29.5, 30), (30.5, 30))]
        assert widths(measured(*plate(), *half).narrow_slots(1.0)) == pytest.approx([0.5], abs=2e-3)


def test_a_line_as_a_slit_is_no_contour_and_no_web() -> None:
    assert not measured(*plate(), Line((50, 1), (50, 59))).webs(3.0)
