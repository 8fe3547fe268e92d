"""The page's geometry: what is sent decodes to the same body, face for face."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lintsvc.model.body import Body
from lintsvc.model.finding import Finding, Where
from lintsvc.model.sheet import Arc, Bend, Circle, Entity, Line, Polyline, Sheet
from lintsvc.reports.geometry import decode_body, encode_body, encode_sheet, place_findings, runs, sent_order


def soup(corners: np.ndarray) -> Body:
    """A body as STL gives it: three vertices a face."""
    count = len(corners)
    return Body(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int32).reshape(-1, 3))


@given(
    arrays(np.float32, st.tuples(st.integers(0, 40), st.just(3), st.just(3)), elements=st.floats(-500, 500, width=32))
)
def test_every_sent_face_lies_within_half_a_step_of_its_own(corners: np.ndarray) -> None:
    body = soup(corners)
    order = sent_order(body)
    assert sorted(order.tolist()) == list(range(len(corners)))
    header, vertices, faces = decode_body(encode_body(body, order))
    assert header["triangles"] == len(corners)
    sent = vertices[faces]
    meant = corners.astype(np.float64)[order]
    assert np.abs(sent - meant).max(initial=0.0) <= header["step"] / 2 * (1 + 1e-6)


def test_smallest_and_largest_sizes_are_sorted_too() -> None:
    shape = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1, 1, 1], [0, 1, 1], [1, 0, 1]]])
    for size in (1e-42, 1.1e38):
        body = soup((shape * size).astype(np.float32))
        header, vertices, faces = decode_body(encode_body(body, sent_order(body)))
        assert np.isfinite(vertices).all()
        assert (header["triangles"], len(faces)) == (2, 2)


def test_shared_vertices_are_sent_once() -> None:
    square = np.array([[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]], np.float32)
    body = soup(square)
    header, _, _ = decode_body(encode_body(body, sent_order(body)))
    assert header["vertices"] == 4


def test_objects_come_as_runs_in_sent_order() -> None:
    corners = np.zeros((4, 3, 3), np.float32)
    corners[:, 1, 0] = corners[:, 2, 1] = 1.0
    corners[:, :, 0] += np.array([0, 90, 1, 91], np.float32)[:, None]
    flat = soup(corners)
    body = Body(flat.vertices, flat.faces, np.array([0, 1, 0, 1], np.int32), ("left", "right"))
    header, _, _ = decode_body(encode_body(body, sent_order(body)))
    assert header["object_runs"] == [[0, 2], [1, 2]]


@given(st.sets(st.integers(0, 60)))
def test_runs_hold_exactly_the_given_numbers(numbers: set[int]) -> None:
    made = runs(np.array(sorted(numbers), np.int64))
    assert [x for first, count in made for x in range(first, first + count)] == sorted(numbers)


def test_findings_faces_are_numbered_as_sent() -> None:
    where = Where((0.0, 0.0, 0.0), ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), faces=(0, 2))
    finding = Finding("f", "soundness/open-edge", "error", 80.0, "m", None, None, where, "r")
    placed = place_findings([finding], np.array([3, 2, 0, 1], np.int64))
    # Face 2 is sent second and face 0 third.
    assert placed["findings"][0]["faces"] == [[1, 2]]
    json.dumps(placed)


def test_flat_is_no_larger_than_its_arcs_reach_and_the_part_no_larger_than_itself() -> None:
    # A corner's arc bends inwards of its circle; the line beside is no part.
    shapes = (Line((0, 0), (9, 0)), Arc((9, 9), 9, 180, 270))
    sheet = Sheet(
        (Entity(0, "A1", "line", "CUT", shapes), Entity(1, "A2", "line", "0", (Line((0, 20), (9, 20)),))), 0.01
    )
    sent = encode_sheet(sheet, thickness_mm=2.0, contours=[], bends=[], part_box=(0, 0, 9, 9))
    assert sent["box"] == [[0, 0], [9, 20]]
    assert sent["part_box"] == [[0, 0], [9, 9]]


def test_flat_keeps_true_arcs_and_circles() -> None:
    shapes = (Line((0, 0), (9, 0)), Arc((5, 5), 2, 0, 90), Circle((1, 2), 3.25), Polyline(((0, 0), (1, 1))))
    sheet = Sheet((Entity(0, "A1", "line", "CUT", shapes),), 0.01)
    bend = Bend((0, 1), (9, 1), 90.0, "up")
    sent = encode_sheet(sheet, thickness_mm=2.0, contours=[(((0, 0), (1, 0), (1, 1)), False)], bends=[bend])
    assert sent["entities"][0]["shapes"][1:3] == [{"arc": [5, 5, 2, 0, 90]}, {"circle": [1, 2, 3.25]}]
    assert sent["box"] == [[-2.25, -1.25], [9, 7]]
    assert sent["part_box"] == sent["box"]
    assert sent["bends"][0]["direction"] == "up"
    assert sent["bends"][0]["half_mm"] is None
    zoned = encode_sheet(sheet, thickness_mm=2.0, contours=[], bends=[bend, bend], zones_mm={1: 3.25})
    assert [x["half_mm"] for x in zoned["bends"]] == [None, 3.25]
    json.dumps(sent)
