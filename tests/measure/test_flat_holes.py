"""Round holes and slots, however they are drawn."""

from __future__ import annotations

import math

import pytest
from parts.flats import loop, measured, plate, polygon, rectangle, ring, slot

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.model.sheet import Arc, Circle


def only_hole(*drawn: object) -> tuple[float, tuple[float, float], bool]:
    (hole,) = measured(*plate(), *drawn).holes  # type: ignore[arg-type]
    return hole.diameter_mm, hole.centre_mm, hole.exact


def test_circle_keeps_its_true_diameter() -> None:
    assert only_hole(Circle((50, 30), 2.6)) == (5.2, (50, 30), True)


def test_arcs_of_one_circle_are_a_hole_of_its_diameter() -> None:
    halves = Arc((50, 30), 2.6, 0, 180), Arc((50, 30), 2.6, 180, 360)
    thirds = [Arc((50, 30), 2.6, 120 * k, 120 * (k + 1)) for k in range(3)]
    for arcs in (halves, thirds):
        diameter, centre, exact = only_hole(*arcs)
        assert (diameter, centre, exact) == (pytest.approx(5.2), pytest.approx((50, 30)), True)


@pytest.mark.parametrize("sides", [8, 12, 30, 100])
def test_polygon_drawn_for_a_circle_is_a_hole_with_its_tolerance(sides: int) -> None:
    (hole,) = measured(*plate(), *ring(polygon(50, 30, 2.6, sides, 11.0))).holes
    assert hole.diameter_mm == pytest.approx(5.2) and not hole.exact
    assert hole.centre_mm == pytest.approx((50, 30))
    assert hole.tolerance_mm == pytest.approx(2.6 * (1 - math.cos(math.pi / sides)))


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 7])
def test_polygon_of_few_corners_is_meant_as_one(sides: int) -> None:
    assert not measured(*plate(), loop(polygon(50, 30, 2.6, sides))).holes


def test_oval_slot_and_d_shape_are_no_round_holes() -> None:
    ellipse = [(50 + 3 * math.cos(a / 50 * math.tau), 30 + 2.7 * math.sin(a / 50 * math.tau)) for a in range(50)]
    d_shape = [(50 + 3 * math.cos(a / 40 * math.tau), 30 + 3 * math.sin(a / 40 * math.tau)) for a in range(33)]
    for shape in (ellipse, d_shape):
        assert not measured(*plate(), loop(shape)).holes
    assert not measured(*plate(), *slot(50, 30, 6.3, 6)).holes


def test_discs_and_islands_are_no_holes() -> None:
    assert not measured(Circle((0, 0), 10)).holes
    assert len(measured(*plate(), Circle((50, 30), 10), Circle((50, 30), 5)).holes) == 1


def test_slots_with_round_and_square_ends() -> None:
    (found,) = measured(*plate(), *slot(50, 30, 20, 6)).slots
    assert (found.width_mm, found.length_mm) == (pytest.approx(6, abs=0.001), pytest.approx(20, abs=0.001))
    assert found.round_ends and sorted([found.start[0], found.end[0]]) == pytest.approx([43, 57], abs=0.01)
    (found,) = measured(*plate(), loop(rectangle(20, 20, 30, 4))).slots
    assert (found.width_mm, found.length_mm, found.round_ends) == (pytest.approx(4), pytest.approx(30), False)


def test_slot_drawn_by_short_lines_is_one() -> None:
    turns = [math.radians(9 * k - 90) for k in range(21)]
    right = [(57 + 3 * math.cos(a), 30 + 3 * math.sin(a)) for a in turns]
    points = right + [(100 - x, 60 - y) for x, y in right]
    (found,) = measured(*plate(), *ring(points)).slots
    assert found.round_ends and found.width_mm == pytest.approx(6, abs=0.05)


def test_squares_crosses_and_cut_rectangles_are_no_slots() -> None:
    cross = [(0, 0), (4, 0), (4, 4), (8, 4), (8, 8), (4, 8), (4, 12), (0, 12), (0, 8), (-4, 8), (-4, 4), (0, 4)]
    cut = [(20, 20), (49, 20), (50, 21), (50, 24), (20, 24)]
    for shape in (rectangle(20, 20, 5, 5), [(x + 40, y + 20) for x, y in cross], cut):
        assert not measured(*plate(), loop(shape)).slots


def test_holes_name_their_entities() -> None:
    flat: FlatMeasurements = measured(*plate(), Arc((50, 30), 2, 0, 180), Arc((50, 30), 2, 180, 360))
    assert flat.holes[0].entities == (4, 5)
    assert flat.holes[0].where.span is not None
