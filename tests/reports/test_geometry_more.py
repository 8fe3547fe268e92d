"""Widths and lists for the page: what is sent decodes to what was measured; lists name the faces as sent."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from parts import bodies

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.width_map import WidthMap
from lintsvc.model.body import Body
from lintsvc.reports.geometry import sent_order
from lintsvc.reports.geometry_lists import list_body
from lintsvc.reports.geometry_widths import decode_widths, encode_widths

WIDTHS = arrays(np.float64, 7, elements=st.floats(0, 9) | st.just(np.inf))


@given(WIDTHS, WIDTHS, st.floats(0.5, 400))
def test_widths_come_back_within_half_a_step_and_nothing_beyond_the_cap(
    wall: np.ndarray, gap: np.ndarray, cap: float
) -> None:
    splits = np.array([0, 1, 0, 0, 2, 0, 3, 0, 0, 0], np.uint8)
    sent = encode_widths(WidthMap(splits, wall, gap, cap, 0.8), 3, {"wall": (0.8, "powder-bed/thin-wall")})
    header, codes, walls, gaps = decode_widths(sent)
    assert (header["triangles"], header["pieces"], header["cap"]) == (3, 7, cap)
    assert header["limits"] == {"wall": {"value": 0.8, "rule": "powder-bed/thin-wall"}}
    assert codes.tolist() == splits.tolist()
    for meant, got in ((wall, walls), (gap, gaps)):
        assert np.isinf(got).tolist() == (meant >= cap).tolist()
        near = np.isfinite(got)
        assert np.abs(got[near] - meant[near]).max(initial=0.0) <= header["step"] / 2 * (1 + 1e-9)


def test_other_bytes_are_no_widths() -> None:
    with pytest.raises(ValueError, match="no widths"):
        decode_widths(b"LSG1" + bytes(40))


def test_holes_and_bodies_are_listed_with_the_faces_that_the_page_gets() -> None:
    """A tube and a box beside it: the tube's bore is the one hole; the names are the file's own."""
    tube, box = bodies.tube(6.0, 2.0, 10.0), bodies.moved(bodies.box((5.0, 5.0, 5.0)), (30.0, 0.0, 0.0))
    vertices, faces = bodies.join(tube, box)
    owner = np.repeat(np.array([0, 1], np.int32), [len(tube[1]), len(box[1])])
    part = Body(vertices.astype(np.float64), faces.astype(np.int32), owner, ("pipe", "block"))
    order = sent_order(part)
    lists = list_body(BodyMeasurements(part), order)
    json.dumps(lists, allow_nan=False)
    sent = vertices[faces[order]]

    def faces_of(entry: dict[str, Any]) -> np.ndarray:
        return np.concatenate([np.arange(first, first + count) for first, count in entry["faces"]])

    assert [(x["name"], x["triangles"]) for x in lists["bodies"]] == [("pipe", len(tube[1])), ("block", 12)]
    assert lists["bodies"][1]["volume_mm3"] == pytest.approx(125.0)
    assert lists["bodies"][1]["size"] == pytest.approx([5.0, 5.0, 5.0])
    assert (sent[faces_of(lists["bodies"][1])][:, :, 0] >= 27.0).all()
    (hole,) = lists["holes"]
    assert hole["kind"] == "through"
    assert hole["depth_mm"] == pytest.approx(10.0)
    lit = sent[faces_of(hole)]
    assert np.hypot(lit[:, :, 0], lit[:, :, 1]) == pytest.approx(hole["diameter_mm"] / 2, rel=1e-3)
    assert (lists["more_bodies"], lists["more_holes"]) == (0, 0)


def test_an_open_shell_has_no_volume_in_the_list() -> None:
    vertices, faces = bodies.box((4.0, 4.0, 4.0))
    part = bodies.body((vertices, faces[1:]))
    (entry,) = list_body(BodyMeasurements(part), sent_order(part))["bodies"]
    assert entry["volume_mm3"] is None
