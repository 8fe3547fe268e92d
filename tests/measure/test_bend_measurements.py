"""Bends of a flat: where they are bent, what is cut at their ends, what lies beside them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from lintsvc.measure.bend_ends import BendEnd, bend_ends
from lintsvc.measure.bend_frame import Frame, common, edges_of
from lintsvc.measure.bend_pairs import crossings, side_by_side
from lintsvc.measure.bend_sides import cutouts_near, edges_near, flanges
from lintsvc.measure.bend_zones import BendZone, bend_zones
from lintsvc.model.sheet import Bend

T, R, K = 2.0, 2.0, 0.44
HALF = math.pi / 4 * (R + K * T)
PLATE = box(0, 0, 100, 60)
TAB = unary_union([PLATE, box(30, -20, 70, 0)])


def rings(region: shapely.Geometry) -> list[np.ndarray]:
    parts = [x for g in shapely.get_parts(region) for x in (g.exterior, *g.interiors)]
    return [shapely.get_coordinates(x)[:-1] for x in parts]


def zones(region: shapely.Geometry, *lines: tuple[tuple[float, float], tuple[float, float]]) -> tuple[BendZone, ...]:
    bends = [Bend(a, b, 90.0, "up", R, K) for a, b in lines]
    return bend_zones(bends, edges_of(rings(region)), T, None)


def outline(region: shapely.Geometry) -> np.ndarray:
    return edges_of(rings(unary_union([Polygon(g.exterior) for g in shapely.get_parts(region)])))


def cutouts(region: shapely.Geometry) -> list[Polygon]:
    return [Polygon(x) for g in shapely.get_parts(region) for x in g.interiors]


def ends(region: shapely.Geometry, *line: tuple[float, float]) -> tuple[BendEnd, ...]:
    (zone,) = zones(region, (line[0], line[1]))
    return bend_ends(zone, cutouts(region))


@given(st.floats(0, 360), st.floats(-50, 50), st.floats(-50, 50))
def test_frame_goes_there_and_back(turn: float, x: float, y: float) -> None:
    end = (3.0 + math.cos(math.radians(turn)), -4.0 + math.sin(math.radians(turn)))
    frame = Frame.of(np.zeros((0, 4)), (3.0, -4.0), end)
    assert frame.here(frame.back(x, y)) == pytest.approx((x, y), abs=1e-9)
    assert frame.here(end) == pytest.approx((1.0, 0.0), abs=1e-9)


@given(st.floats(-20.5, 60.5), st.floats(0, 360))
def test_rows_of_a_frame_agree_with_a_second_library(y: float, turn: float) -> None:
    # On a side that lies along the row, what is inside is a matter of taste.
    assume(all(abs(y - side) > 1e-6 for side in (-20, 0, 30, 40, 60)))
    region = TAB.difference(Point(50, 20).buffer(7)).difference(box(10, 30, 90, 40))
    exact = region.intersection(shapely.LineString([(-300, y), (300, y)]))
    turned = shapely.affinity.rotate(region, turn, origin=(0, 0))
    along = (math.cos(math.radians(turn)), math.sin(math.radians(turn)))
    frame = Frame.of(edges_of(rings(turned)), (0.0, 0.0), along)
    assert sum(b - a for a, b in frame.row(y)) == pytest.approx(exact.length, abs=0.2)


def test_common_spans() -> None:
    assert common([(0, 10), (20, 30)], [(5, 22), (25, 40)]) == [(5, 10), (20, 22), (25, 30)]
    assert common([], [(0, 1)]) == []


def test_zone_is_half_the_allowance_to_each_side() -> None:
    (zone,) = zones(PLATE, ((30, 0), (30, 60)))
    assert zone.half_mm == pytest.approx(HALF)
    assert np.ravel(zone.runs) == pytest.approx([0, 60])
    assert not zone.short


def test_unknown_angle_and_radius_are_taken_as_usual_and_named() -> None:
    (zone,) = bend_zones([Bend((30, 0), (30, 60))], edges_of(rings(PLATE)), T, None)
    assert (zone.angle_deg, zone.radius_mm) == (90.0, T)
    assert zone.assumed == ("angle", "inside radius")
    assert zone.sure < 1


def test_line_of_no_length_is_no_bend() -> None:
    assert zones(PLATE, ((30, 30), (30, 30))) == ()


def test_line_outside_the_sheet_bends_nothing() -> None:
    (zone,) = zones(PLATE, ((0, 80), (100, 80)))
    assert zone.runs == ()


def test_line_that_stops_inside_is_short_by_what_is_missing() -> None:
    (zone,) = zones(PLATE, ((30, 0), (30, 47)))
    (short,) = zone.short
    assert short.missing_mm == pytest.approx(13)
    assert short.edge == pytest.approx((30, 60))


def test_line_past_the_edge_is_bent_up_to_the_edge() -> None:
    (zone,) = zones(PLATE, ((30, -7), (30, 66)))
    assert zone.extent == pytest.approx((7, 67))


def test_bend_of_a_tab_ends_at_its_sides() -> None:
    (zone,) = zones(TAB, ((30, 0), (70, 0)))
    assert np.ravel(zone.runs) == pytest.approx([0, 40])


def test_window_parts_a_bend_in_two_runs() -> None:
    (zone,) = zones(PLATE.difference(box(20, 20, 40, 40)), ((30, 0), (30, 60)))
    assert np.ravel(zone.runs) == pytest.approx([0, 20, 40, 60])


def test_full_width_bend_needs_no_relief() -> None:
    assert [(x.depth_mm, x.width_mm) for x in ends(PLATE, (30, 0), (30, 60))] == [(None, None)] * 2


def test_tab_without_reliefs_is_held_from_the_line_on() -> None:
    assert [x.depth_mm for x in ends(TAB, (30, 0), (70, 0))] == [0.0, 0.0]


@pytest.mark.parametrize(("wide", "deep"), [(1.5, 2.5), (0.7, 4.0), (3.0, 1.0)])
def test_square_relief_is_measured(wide: float, deep: float) -> None:
    region = TAB.difference(box(30 - wide, -1e-9, 30, deep)).difference(box(70, -1e-9, 70 + wide, deep))
    for end in ends(region, (30, 0), (70, 0)):
        assert end.depth_mm == pytest.approx(deep, abs=0.01)
        assert end.width_mm == pytest.approx(wide, abs=0.01)


@pytest.mark.parametrize("radius", [1.5, 2.5])
def test_round_relief_is_measured(radius: float) -> None:
    region = TAB.difference(Point(30, 0).buffer(radius, 64)).difference(Point(70, 0).buffer(radius, 64))
    for end in ends(region, (30, 0), (70, 0)):
        assert end.depth_mm == pytest.approx(radius, abs=0.02)
        assert end.width_mm == pytest.approx(2 * radius, abs=0.02)


def test_round_relief_drawn_as_a_hole_in_a_corner_of_a_box() -> None:
    base = unary_union([PLATE, box(0, -20, 100, 0), box(-20, 0, 0, 60)]).difference(Point(0, 0).buffer(4, 64))
    first, _ = ends(base, (0, 0), (100, 0))
    assert first.depth_mm == pytest.approx(4.0, abs=0.02)
    assert first.at == pytest.approx((4.0, 0.0), abs=0.01)


@pytest.mark.parametrize("off", [0.0, 1.0, 2.0, 2.6])
def test_hole_in_a_bend_is_no_relief_however_far_off_the_line(off: float) -> None:
    # Where the line cuts the hole near its rim, the rim slants under the line.
    region = PLATE.difference(Point(30 + off, 30).buffer(2.735, 256))
    assert [x.depth_mm for x in ends(region, (30, 0), (30, 60))] == [None, None]


def test_square_corner_of_a_box_has_no_relief() -> None:
    base = unary_union([PLATE, box(0, -20, 100, 0), box(-20, 0, 0, 60)])
    first, last = ends(base, (0, 0), (100, 0))
    assert (first.depth_mm, last.depth_mm) == (0.0, None)


@pytest.mark.parametrize("inset", [10.0, 20.0, 25.0])
def test_slanting_sides_need_no_relief(inset: float) -> None:
    taper = Polygon([(0, 0), (100, 0), (100 - inset, 60), (inset, 60)])
    assert [x.depth_mm for x in ends(taper, (inset / 2, 30), (100 - inset / 2, 30))] == [None, None]


@pytest.mark.parametrize("slope", [0.3, 1.0, 1.5])
def test_bend_that_runs_slantwise_over_a_strip_needs_no_relief(slope: float) -> None:
    assert [x.depth_mm for x in ends(PLATE, (40 - 30 * slope, 0), (40 + 30 * slope, 60))] == [None, None]


def test_slit_between_two_flanges_on_one_line_is_a_narrow_relief() -> None:
    region = PLATE.difference(box(49.9, -1, 50.1, 40))
    (zone,) = zones(region, ((0, 20), (100, 20)))
    inner = [x for x in bend_ends(zone) if 1 < x.at[0] < 99]
    assert [x.width_mm for x in inner] == pytest.approx([0.2, 0.2], abs=0.01)


def test_flanges_reach_to_their_free_edges_and_grow_by_the_setback() -> None:
    all_zones = zones(PLATE, ((20, 0), (20, 60)), ((80, 0), (80, 60)))
    found = [x for zone in all_zones for x in flanges(zone, outline(PLATE), all_zones)]
    assert [x.flat_mm for x in found] == pytest.approx([20, 20])
    assert found[0].outside_mm == pytest.approx(20 + R + T - HALF)


def test_hole_in_a_flange_does_not_shorten_it() -> None:
    region = PLATE.difference(Point(10, 30).buffer(5))
    (zone,) = zones(region, ((20, 0), (20, 60)))
    assert sorted(x.flat_mm for x in flanges(zone, outline(region), [zone])) == pytest.approx([20, 80])


def test_notch_beside_a_bend_is_near_it() -> None:
    region = PLATE.difference(box(40, 32, 44, 61))
    (zone,) = zones(region, ((0, 28), (100, 28)))
    (near,) = edges_near(zone, outline(region), 2 * T)
    assert near.gap_mm == pytest.approx(4 - HALF, abs=1e-6)


def test_mitred_and_short_flanges_are_not_edges_near() -> None:
    mitred = Polygon([(0, 0), (100, 0), (100, 20), (80, 40), (20, 40), (0, 20)])
    (zone,) = zones(mitred, ((0, 20), (100, 20)))
    assert edges_near(zone, outline(mitred), 2 * T) == ()
    (zone,) = zones(PLATE, ((0, 4), (100, 4)))
    assert edges_near(zone, outline(PLATE), 2 * T) == ()


def test_flange_that_runs_out_flat_is_near_at_its_end() -> None:
    wedge = Polygon([(0, 0), (100, 0), (100, 45), (0, 21)])
    (zone,) = zones(wedge, ((0, 20), (100, 20)))
    near = edges_near(zone, outline(wedge), 2 * T)
    assert len(near) == 1 and near[0].gap_mm == pytest.approx(0.0, abs=1e-6)


@given(st.floats(-8, 8), st.floats(1.0, 4.0), st.floats(0, 360))
def test_hole_beside_a_bend_is_as_far_as_it_was_put(off: float, radius: float, turn: float) -> None:
    hole = Point(50, 30 + off).buffer(radius, 64)
    region = shapely.affinity.rotate(PLATE.difference(hole), turn, origin=(0, 0))
    line = shapely.affinity.rotate(shapely.LineString([(0, 30), (100, 30)]), turn, origin=(0, 0))
    (zone,) = zones(region, tuple(line.coords))  # type: ignore[arg-type]
    found = cutouts_near(zone, cutouts(region), 2 * T)
    gap = max(0.0, abs(off) - radius - HALF)
    if gap < 2 * T - 0.02:
        assert [x.gap_mm for x in found] == pytest.approx([gap], abs=0.02)
    elif gap > 2 * T + 0.02:
        assert found == ()


def test_window_past_the_zone_and_relief_holes_are_left_alone() -> None:
    region = PLATE.difference(box(20, 20, 40, 40))
    (zone,) = zones(region, ((30, 0), (30, 60)))
    assert cutouts_near(zone, cutouts(region), 2 * T) == ()
    region = PLATE.difference(Point(30, 50).buffer(3))
    (zone,) = zones(region, ((30, 0), (30, 50)))
    assert zone.short == ()
    assert cutouts_near(zone, cutouts(region), 2 * T) == ()


def test_lines_that_cross_and_lines_that_only_meet() -> None:
    assert [x.at for x in crossings(zones(PLATE, ((30, 0), (30, 60)), ((0, 20), (100, 20))))] == [
        pytest.approx((30, 20))
    ]
    assert crossings(zones(PLATE, ((30, 0), (30, 60)), ((30, 20), (100, 20)))) == ()


def test_bends_side_by_side_are_measured_line_to_zone() -> None:
    both = zones(PLATE, ((30, 0), (30, 60)), ((40, 60), (40, 0)))
    (pair,) = side_by_side(both, edges_of(rings(PLATE)), 20.0)
    assert side_by_side(both, edges_of(rings(PLATE)), 5.0) == ()
    assert pair.apart_mm == pytest.approx(10)
    assert pair.gap_mm == pytest.approx(10 - HALF)


def test_flanges_across_a_cutout_are_not_side_by_side() -> None:
    region = PLATE.difference(box(33, 5, 37, 55))
    across = zones(region, ((30, 10), (30, 50)), ((40, 10), (40, 50)))
    assert side_by_side(across, edges_of(rings(region)), 20.0) == ()
    square = zones(PLATE, ((30, 0), (30, 60)), ((0, 20), (100, 20)))
    assert side_by_side(square, edges_of(rings(PLATE)), 20.0) == ()
