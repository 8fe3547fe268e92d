"""Contours of flats against areas worked out by hand: loops, nesting, gaps, tangles, bounded time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from parts.flats import loop, measured, plate, polygon, rectangle, ring, slot

from lintsvc.measure.flat_segments import TooTangled, box_pairs
from lintsvc.measure.flat_weld import components, weld
from lintsvc.model.sheet import Arc, Circle, Line, Polyline


def test_area_of_arcs_and_circles_is_exact() -> None:
    flat = measured(*plate(), *slot(50, 30, 20, 6), Circle((20, 30), 5))
    assert flat.area_mm2 == pytest.approx(6000 - (14 * 6 + 9 * math.pi) - 25 * math.pi, abs=1e-9)


def test_size_reaches_as_far_as_the_arcs() -> None:
    # A stadium 60 x 20: the arcs' own points need not include the ends.
    flat = measured(*slot(5, 7, 60, 20))
    assert flat.flat_mm == pytest.approx((60, 20), abs=1e-12)


def test_size_is_that_of_the_outline_even_where_it_is_open() -> None:
    outline = (Line((0, 0), (100, 0)), Line((100, 0), (100, 60)), Line((100, 60), (0, 60)), Line((0, 60), (0, 1)))
    flat = measured(*outline, Circle((20, 30), 5))
    assert flat.unsure
    assert flat.flat_mm == pytest.approx((100, 60))


def test_roles_go_by_turns_inwards() -> None:
    flat = measured(*(Circle((0, 0), r) for r in (5, 4, 3, 2, 1)))
    assert [x.role for x in flat.contours] == ["outer", "cutout", "island", "cutout", "island"]
    assert [x.parent for x in flat.contours] == [None, 0, 1, 2, 3]
    # Islands drop out: only the ring between the first two circles is part.
    assert flat.area_mm2 == pytest.approx(math.pi * (25 - 16))


def test_parts_side_by_side_are_outer_contours() -> None:
    flat = measured(*plate(), *ring(rectangle(150, 0, 20, 20)), Circle((160, 10), 3))
    assert [x.role for x in flat.contours] == ["outer", "outer", "cutout"]
    assert flat.contours[2].parent == 1
    assert [(round(long), round(wide)) for _, long, wide in flat.sizes] == [(100, 60), (20, 20)]


@pytest.mark.parametrize("gap", [0.0, 0.0005, 0.01, 0.099])
def test_ends_within_a_tenth_are_joined_and_said(gap: float) -> None:
    flat = measured(*plate()[:3], Line((0, 60), (0, gap)))
    assert [x.role for x in flat.contours] == ["outer"]
    assert [round(x.width_mm, 6) for x in flat.gaps] == ([gap] if gap else [])
    assert flat.contours[0].closed == (gap < 0.001)
    assert not flat.open_chains


@pytest.mark.parametrize("gap", [0.101, 1.0, 20.0])
def test_wider_gaps_leave_the_contour_open(gap: float) -> None:
    flat = measured(*plate()[:3], Line((0, 60), (0, gap)))
    assert not flat.contours
    (chain,) = flat.open_chains
    assert (chain.kind, len(chain.entities)) == ("broken", 4)
    assert chain.gaps[0].width_mm == pytest.approx(gap)
    assert "no closed contour" in flat.unsure


def test_gaps_are_joined_end_to_nearest_end() -> None:
    # Four sides, each end 0.05 mm short of its corner.
    sides = [Line((0.05, 0), (99.95, 0)), Line((100, 0.05), (100, 59.95))]
    sides += [Line((99.95, 60), (0.05, 60)), Line((0, 59.95), (0, 0.05))]
    flat = measured(*sides)
    assert len(flat.contours) == 1
    assert [x.width_mm for x in flat.gaps] == pytest.approx([0.05 * math.sqrt(2)] * 4)


def test_a_short_line_is_not_closed_upon_itself() -> None:
    flat = measured(*plate(), Line((50, 30), (50.05, 30)))
    assert len(flat.contours) == 1
    assert [x.kind for x in flat.open_chains] == ["slit"]


def test_an_almost_full_arc_is_a_loop() -> None:
    flat = measured(*plate(), Arc((50, 30), 5, 0.0, 359.9999))
    assert [x.role for x in flat.contours] == ["outer", "cutout"]
    assert flat.contours[1].area_mm2 == pytest.approx(25 * math.pi, rel=1e-4)


def test_a_line_from_edge_to_edge_leaves_one_part() -> None:
    # By its ends' nodes (a corner to a corner), by the middle of a side, and both.
    for line in (Line((0, 0), (100, 60)), Line((30, 0), (30, 60)), Line((0, 0), (40, 60))):
        flat = measured(*plate(), line)
        assert [round(x.area_mm2) for x in flat.outers] == [6000]
        assert [(x.kind, x.entities) for x in flat.open_chains] == [("across", (4,))]


def test_parts_that_share_a_line_drawn_twice_are_two() -> None:
    flat = measured(*plate(), *ring(rectangle(100, 0, 40, 60)))
    assert sorted(round(x.area_mm2) for x in flat.outers) == [2400, 6000]
    assert [x.copies for x in flat.duplicates] == [1]


def test_loops_that_meet_in_a_corner_are_two() -> None:
    flat = measured(*plate(), *ring(rectangle(100, 60, 40, 40)))
    assert sorted(round(x.area_mm2) for x in flat.outers) == [1600, 6000]


def test_lines_drawn_over_their_corners_still_bound_the_plate() -> None:
    level = Line((-5, 0), (105, 0)), Line((105, 60), (-5, 60))
    flat = measured(*level, Line((100, -5), (100, 65)), Line((0, 65), (0, -5)))
    assert [round(x.area_mm2, 6) for x in flat.outers] == [6000]
    # Eight ends of 5 mm stand over.
    assert sum(x.length_mm for x in flat.open_chains) == pytest.approx(40.0)


def test_a_hole_tied_to_the_edge_by_a_line_stays_a_hole() -> None:
    hole = ring(rectangle(40, 20, 20, 20))
    flat = measured(*plate(), *hole, Line((0, 0), (40, 20)))
    assert [(x.role, round(x.area_mm2)) for x in flat.contours] == [("outer", 6000), ("cutout", 400)]


def test_a_hole_held_by_two_lines_or_crossed_by_one_stays_one_hole() -> None:
    hole = ring(rectangle(40, 20, 20, 20))
    held = [Line((0, 0), (40, 20)), Line((100, 60), (60, 40))]
    crossed = [*held, Line((40, 40), (60, 20))]
    for lines in (held, crossed):
        flat = measured(*plate(), *hole, *lines)
        assert [(x.role, round(x.area_mm2)) for x in flat.contours] == [("outer", 6000), ("cutout", 400)]
        assert not flat.duplicates
        assert {x.kind for x in flat.open_chains} == {"across"}


def test_lines_that_cross_are_as_many_and_as_long_as_drawn() -> None:
    # The mark of a hole's centre, twice as long as the hole is wide: it reaches into the sheet all around.
    mark = Line((10, 30), (30, 30)), Line((20, 20), (20, 40))
    flat = measured(*plate(), Circle((20, 30), 5), *mark)
    assert [(x.kind, x.entities, round(x.length_mm, 9)) for x in flat.open_chains] == [
        ("slit", (5,), 20.0),
        ("slit", (6,), 20.0),
    ]
    assert not flat.strays
    # A line that two others cross is one line from edge to edge.
    crossed = measured(*plate(), Line((0, 30), (100, 30)), Line((30, 10), (30, 50)), Line((60, 10), (60, 50)))
    assert [(x.kind, x.entities) for x in crossed.open_chains] == [("across", (4,)), ("slit", (5,)), ("slit", (6,))]


def test_a_bow_tie_is_a_contour_of_its_two_lobes() -> None:
    flat = measured(loop([(0, 0), (100, 60), (100, 0), (0, 60)]))
    assert flat.contours[0].area_mm2 == pytest.approx(3000)
    (crossing,) = flat.self_crossings
    assert crossing.crosses and crossing.where.point[:2] == pytest.approx((50, 30))


def test_an_outline_left_open_makes_what_is_inside_unsure() -> None:
    flat = measured(*plate()[:3], Circle((50, 30), 5))
    assert "open" in flat.unsure
    # A stray centre line across the edge does not.
    assert not measured(*plate(), Circle((50, 30), 5), Line((50, -10), (50, 70))).unsure


def test_only_cut_lines_make_contours_unless_there_are_none() -> None:
    from parts.flats import sheet

    from lintsvc.measure.flats import FlatMeasurements
    from lintsvc.model.choices import Choices

    flat = FlatMeasurements(sheet(*plate(), role="unclear"), Choices(), None)
    assert flat.unclear_taken and len(flat.outers) == 1
    assert not FlatMeasurements(sheet(*plate(), role="engrave"), Choices(), None).contours


def test_coordinates_that_are_no_numbers_are_left_out() -> None:
    flat = measured(*plate(), Line((0, 0), (math.nan, 5)), Circle((1, math.inf), 3), Circle((5, 5), -1))
    assert flat.drawing.curves.broken == (4, 5, 6)
    assert len(flat.contours) == 1


def test_an_empty_sheet_has_nothing_and_raises_nothing() -> None:
    flat = measured()
    assert (flat.contours, flat.holes, flat.area_mm2, flat.flat_mm) == ((), (), 0, (0.0, 0.0))
    assert not flat.narrow(5.0) and not flat.strays and not flat.duplicates


def test_a_part_a_kilometre_away_is_measured_as_well() -> None:
    flat = measured(*ring(rectangle(1e6, 1e6, 100, 60)), Circle((1e6 + 3, 1e6 + 30), 2))
    assert flat.area_mm2 == pytest.approx(6000 - 4 * math.pi, abs=1e-4)
    assert flat.webs(2.0)[0].width_mm == pytest.approx(1.0, abs=1e-6)


def test_a_tiny_drawing_keeps_its_shape() -> None:
    # A part of 0.2 mm (metres read as millimetres) with sides of micrometres.
    flat = measured(*ring(polygon(0, 0, 0.1, 400)))
    assert len(flat.contours) == 1
    assert flat.area_mm2 == pytest.approx(math.pi * 0.01, rel=1e-3)


def test_lines_without_end_are_given_up_with_a_reason() -> None:
    hatch = [Line((0.5 * k, 0.0), (0.5 * k + 2000.0, 2000.0)) for k in range(4000)]
    flat = measured(*hatch)
    assert "cannot be sorted out" in flat.trouble and not flat.contours
    circles = measured(*(Circle((0, 0), 1 + 0.01 * k) for k in range(4000)))
    assert "without end" in circles.trouble or "cannot be sorted out" in circles.trouble


def test_a_search_over_too_many_pairs_is_refused() -> None:
    import shapely

    boxes = np.asarray(shapely.box(np.zeros(3000), 0.0, np.ones(3000), 1.0))
    with pytest.raises(TooTangled, match="3,000"):
        list(box_pairs(shapely.STRtree(boxes), boxes, each=0))


def test_weld_joins_within_and_keeps_apart_beyond() -> None:
    points = np.array([[0, 0], [0.0009, 0], [0.0018, 0], [0.01, 0], [1, 1], [1, 1]], float)
    labels, count = weld(points, 0.001)
    # The first three hang together by steps.
    assert labels.tolist() == [0, 0, 0, 1, 2, 2] or count == 3
    assert len({labels[0], labels[3], labels[4]}) == 3 and labels[0] == labels[1] == labels[2]


def test_components_are_numbered_from_the_first() -> None:
    labels, count = components(6, np.array([[5, 1], [1, 3]]))
    assert (labels.tolist(), count) == ([0, 1, 2, 1, 3, 1], 4)


def test_polyline_closed_within_the_gap_is_one_loop() -> None:
    points = rectangle(0, 0, 10, 10)
    flat = measured(Polyline((*points, (0.0, 0.05))))
    assert len(flat.contours) == 1 and flat.gaps[0].width_mm == pytest.approx(0.05)
