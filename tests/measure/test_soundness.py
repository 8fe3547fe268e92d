"""Each way in which a mesh is no solid is found on a body that was broken in just that way, and nothing else is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from parts.broken_bodies import (
    Mesh,
    bow_tie,
    box,
    cylinder,
    doubled,
    fin,
    flip,
    join,
    lapping_ring,
    mobius,
    moved,
    sliver_box,
    sphere,
    split_edge_box,
    turn_over,
    without,
)

from lintsvc.measure import shells_winding
from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.soundness import Soundness
from lintsvc.measure.soundness_defects import SHOWN
from lintsvc.model.body import Body

FACTS = (
    "open_edges", "non_manifold_edges", "flipped", "twisted", "inside_out", "degenerate", "doubles", "pinched",
    "crossings", "overlaps", "touches", "nested",
)  # fmt: skip


def soundness(body: Mesh, **more: object) -> Soundness:
    return BodyMeasurements(Body(body[0], body[1].astype(np.int32), **more)).soundness  # type: ignore[arg-type]


def found(body: Mesh) -> dict[str, int]:
    """How many defects of each kind there are; kinds without any are left out."""
    measured = soundness(body)
    counts = {}
    for fact in FACTS:
        value = getattr(measured, fact)
        counts[fact] = len(value() if callable(value) else value)
    return {fact: count for fact, count in counts.items() if count}


@pytest.mark.parametrize("body", [box(), sphere(10.0), cylinder(5.0, 8.0, 40), bow_tie(gap=0.1)])
def test_sound_body_has_no_defects(body: Mesh) -> None:
    assert found(body) == {}


def test_missing_side_is_one_hole_with_its_rim() -> None:
    body = without(box(10, 20, 30), 0, 6)
    assert found(body) == {"open_edges": 1}
    hole = soundness(body).open_edges[0]
    assert hole.kind == "hole"
    assert hole.count == 4
    assert hole.value == pytest.approx(2 * (20 + 30))
    assert hole.where.point == pytest.approx((0, 10, 15))
    assert len(hole.where.lines) == 4


def test_two_holes_are_told_apart_and_the_longer_comes_first() -> None:
    body = join(without(box(10, 10, 10), 0, 6), moved(without(box(5, 5, 5), 0, 6), x=20))
    holes = soundness(body).open_edges
    assert [x.value for x in holes] == pytest.approx([40, 20])


def test_fin_is_a_branch_and_has_open_edges() -> None:
    body = fin(box(), 0, 1, (-5, -5, 3))
    assert found(body) == {"open_edges": 1, "non_manifold_edges": 1}
    edge = soundness(body).non_manifold_edges[0]
    assert (edge.kind, edge.value, edge.count) == ("branch", 3, 1)
    assert soundness(body).open_edges[0].kind == "rim"


def test_boxes_edge_to_edge_only_touch() -> None:
    body = join(box(10, 10, 10), box(10, 10, 10, at=(10, 10, 0)))
    assert found(body) == {"non_manifold_edges": 1}
    assert soundness(body).non_manifold_edges[0].kind == "touch"
    assert soundness(body).shells.closed.all()


def test_corner_to_corner_is_a_pinched_vertex() -> None:
    assert found(bow_tie()) == {"pinched": 1}
    assert soundness(bow_tie()).pinched[0].where.point == (10, 10, 10)


def test_faces_in_the_minority_are_the_flipped_ones() -> None:
    body = flip(sphere(10.0), 40, 41)
    assert found(body) == {"flipped": 1}
    assert soundness(body).flipped[0].where.faces == (40, 41)


def test_closed_surface_faces_outward_however_few_of_its_faces_do() -> None:
    ball = sphere(10.0)
    inward = [i for i in range(len(ball[1])) if i not in (40, 41)]
    body = flip(ball, *inward)
    assert found(body) == {"flipped": 1}
    assert soundness(body).flipped[0].where.faces == tuple(inward)


def test_turned_over_shell_is_inside_out_with_its_volume() -> None:
    body = turn_over(box(10, 20, 30))
    assert found(body) == {"inside_out": 1}
    assert soundness(body).inside_out[0].value == pytest.approx(6000)


def test_void_and_island_in_it_are_no_defects() -> None:
    void, island = turn_over(box(12, 12, 12, at=(4, 4, 4))), box(4, 4, 4, at=(8, 8, 8))
    body = join(box(20, 20, 20), void, island)
    assert found(body) == {}
    assert soundness(body).shells.around.tolist() == [0, 1, 0]
    assert soundness(body).shells.volume == pytest.approx([8000, -1728, 64])


def test_void_turned_over_is_a_body_within_a_body() -> None:
    body = join(box(20, 20, 20), box(12, 12, 12, at=(4, 4, 4)))
    assert found(body) == {"nested": 1}


def test_shell_within_a_void_that_faces_inward_is_inside_out() -> None:
    void, island = turn_over(box(12, 12, 12, at=(4, 4, 4))), turn_over(box(4, 4, 4, at=(8, 8, 8)))
    assert found(join(box(20, 20, 20), void, island)) == {"inside_out": 1}


def test_mobius_strip_is_twisted_and_open() -> None:
    assert found(mobius()) == {"open_edges": 1, "twisted": 1}


def test_copy_of_a_face_is_told_once() -> None:
    body = doubled(box(), 0, 6)
    assert found(body) == {"doubles": 1}
    copies = soundness(body).doubles[0]
    assert (copies.kind, copies.value, copies.count) == ("same", 2, 4)


def test_wall_without_thickness_is_faces_back_to_back() -> None:
    wall = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]]), np.array([[0, 1, 2], [0, 2, 1]])
    body = join(box(at=(20, 0, 0)), wall)
    assert found(body) == {"doubles": 1}
    assert soundness(body).doubles[0].kind == "opposed"


def test_collapsed_face_is_degenerate_and_breaks_nothing_else() -> None:
    vertices, faces = box()
    body = vertices, np.concatenate([faces, [[0, 0, 1]]])
    assert found(body) == {"degenerate": 1}
    assert soundness(body).topology.closed


def test_face_on_a_line_keeps_the_surface_closed() -> None:
    body = split_edge_box()
    assert found(body) == {"degenerate": 1}
    assert soundness(body).topology.closed
    assert soundness(without(body, len(body[1]) - 1)).open_edges != ()


def test_shell_that_crosses_itself_is_found_at_the_place() -> None:
    body = lapping_ring(0.5)
    assert found(body) == {"crossings": 1}
    place = soundness(body).crossings()[0]
    assert place.kind == "crossing"
    assert place.value == pytest.approx(0.5)
    assert math.dist(place.where.point[:2], (10, 18)) < 1.1


def test_bodies_that_cross_are_an_overlap_as_deep_as_they_reach() -> None:
    body = join(box(10, 10, 10), box(10, 5, 5, at=(9.7, 2, 2)))
    assert found(body) == {"overlaps": 1}
    assert soundness(body).overlaps()[0].value == pytest.approx(0.3)


def test_bodies_face_to_face_only_touch() -> None:
    body = join(box(10, 10, 10), box(10, 5, 5, at=(10, 2, 2)))
    assert found(body) == {"touches": 1}


def test_bodies_that_are_flush_and_side_by_side_touch_once() -> None:
    # Upper and lower sides lie in one plane, edge along edge: nothing lies on anything there.
    body = join(box(10, 10, 10), box(10, 5, 10, at=(10, 2, 0)))
    assert found(body) == {"touches": 1}


def test_fold_flat_onto_the_neighbour_is_found() -> None:
    # Two faces on one edge, both on the same side of it and in one plane.
    vertices = np.array([[0.0, 0, 0], [10, 0, 0], [5, 8, 0], [5, 3, 0]])
    body = vertices, np.array([[0, 1, 2], [1, 0, 3]])
    assert [x.kind for x in soundness(body).crossings()] == ["folded"]


def test_corner_that_ends_on_a_face_is_no_crossing() -> None:
    tip = np.array([[5.0, 5, 10], [3, 3, 15], [7, 3, 15], [5, 8, 15]])
    needle = tip, np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    assert found(join(box(10, 10, 10), needle)) == {}
    assert found(join(box(10, 10, 10), moved(needle, z=-0.01))) == {"overlaps": 1}


def test_small_shell_is_a_fragment_unless_it_is_a_void_or_stuck_in() -> None:
    crumb = box(1.5, 1.0, math.sqrt(0.35))
    loose = soundness(join(box(20, 20, 20), moved(crumb, x=30))).fragments(2.0)
    assert [x.value for x in loose] == pytest.approx([math.sqrt(1.5**2 + 1.35)])
    assert soundness(join(box(20, 20, 20), moved(turn_over(crumb), 9, 9, 9))).fragments(2.0) == ()
    assert soundness(join(box(20, 20, 20), moved(crumb, 19, 9, 9))).fragments(2.0) == ()
    assert soundness(crumb).fragments(2.0) == ()


def test_slivers_are_counted_below_the_limit_only() -> None:
    body = sliver_box(12, 0.0002)
    assert soundness(body).slivers(0.0001) == ()
    assert soundness(body).slivers(0.0003)[0].count == 24


def test_many_alike_are_told_in_one() -> None:
    body = join(*[moved(without(box(1, 1, 1), 0, 6), x=3.0 * i) for i in range(SHOWN + 5)])
    holes = soundness(body).open_edges
    assert len(holes) == SHOWN + 1
    assert holes[-1].alike == 5
    assert holes[-1].count == 5 * 4
    assert len(holes[-1].where.lines) == 20


def test_objects_that_touch_stay_apart() -> None:
    body = join(box(10, 10, 10), box(10, 10, 10, at=(10, 10, 0)))
    objects = np.repeat(np.array([0, 1], np.int32), 12)
    measured = soundness(body, face_object=objects, object_names=("a", "b"))
    assert measured.non_manifold_edges == ()
    assert measured.shells.count == 2


def test_seam_apart_by_less_than_single_precision_is_closed() -> None:
    vertices, faces = box(10, 20, 30)
    body = vertices[faces].reshape(-1, 3), np.arange(36).reshape(-1, 3)
    body[0][body[0] == 0.0] += np.random.default_rng(1).normal(size=int((body[0] == 0.0).sum())) * 1e-15
    assert found(body) == {}
    body[0][0] += 0.01
    assert set(found(body)) == {"open_edges"}


def test_empty_mesh_has_nothing_wrong_and_is_not_closed() -> None:
    measured = soundness((np.empty((0, 3)), np.empty((0, 3), int)))
    assert measured.open_edges == ()
    assert measured.crossings() == ()
    assert not measured.topology.closed


def test_surface_of_nothing_but_walls_without_thickness_has_no_shell() -> None:
    vertices, faces = box()
    body = vertices, np.concatenate([faces, faces[:, ::-1]])
    assert found(body) == {"doubles": 1}
    measured = soundness(body)
    assert measured.shells.count == 0
    assert measured.fragments(2.0) == ()
    assert measured.shells.winding(np.zeros((2, 3))).tolist() == [0, 0]


def test_shells_too_many_to_place_are_said_to_be_unplaced(monkeypatch: pytest.MonkeyPatch) -> None:
    body = join(*[box(10 + i, 10 + i, 10 + i, at=(-i / 2,) * 3) for i in range(30)])
    assert soundness(body).shells.placed.all()
    assert soundness(body).shells.around.tolist() == [*range(29, -1, -1)]
    monkeypatch.setattr(shells_winding, "_MOST_VISITED", 100)
    measured = soundness(turn_over(body))
    assert not measured.shells.placed.all()
    assert sum(x.alike for x in measured.inside_out) < 30


def test_point_is_in_a_solid_and_not_in_its_void() -> None:
    body = join(box(20, 20, 20), turn_over(box(8, 8, 8, at=(6, 6, 6))), box(2, 2, 2, at=(9, 9, 9)))
    points = np.array([[1.0, 1, 1], [7, 7, 7], [10, 10, 10], [30, 0, 0]])
    assert soundness(body).shells.winding(points).tolist() == [1, 0, 1, 0]
