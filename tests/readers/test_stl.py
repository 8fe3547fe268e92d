"""STL: size tells binary from ASCII, faces keep their order, and nothing is lost in silence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

VERTICES, FACES = made.box()


def test_binary_keeps_float32_and_the_order_of_faces(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.binary_stl(VERTICES, FACES))
    assert part.format == "STL"
    assert part.body is not None
    assert part.body.vertices.dtype == np.float32
    assert part.body.single_precision
    assert part.body.faces.dtype == np.int32
    np.testing.assert_array_equal(part.body.vertices[part.body.faces], VERTICES[FACES])
    assert part.size_mm == (10.0, 20.0, 30.0)
    assert part.notes == ()


@pytest.mark.parametrize("header", [b"solid part", b"solid x\n facet normal 0 0 0", b"<svg onload='x'/>", b""])
def test_header_of_a_binary_file_says_nothing(tmp_path: Path, header: bytes) -> None:
    part = read_bytes(tmp_path, made.binary_stl(VERTICES, FACES, header=header))
    assert part.body is not None
    assert len(part.body.faces) == 12


@pytest.mark.parametrize("cut", [1, 49, 50, 51, 300, 540])
def test_cut_binary_is_refused(tmp_path: Path, cut: int) -> None:
    with pytest.raises(Unreadable, match="cut off"):
        read_bytes(tmp_path, made.binary_stl(VERTICES, FACES)[:-cut])


@pytest.mark.parametrize("count", [13, 1200, 0xFFFFFFFF])
def test_count_above_the_truth_is_refused(tmp_path: Path, count: int) -> None:
    with pytest.raises(Unreadable, match=r"holds 12"):
        read_bytes(tmp_path, made.binary_stl(VERTICES, FACES, count=count))


@pytest.mark.parametrize("count", [0, 1, 5, 11])
def test_count_below_the_truth_reads_all_and_says_so(tmp_path: Path, count: int) -> None:
    part = read_bytes(tmp_path, made.binary_stl(VERTICES, FACES, count=count))
    assert part.body is not None
    assert len(part.body.faces) == 12
    assert [note.kind for note in part.notes] == ["recovered"]
    assert f"{count} triangles but holds 12" in part.notes[0].text


@pytest.mark.parametrize("tail", [b"x", b"PK\x03\x04" + bytes(200), bytes(range(256))])
def test_bytes_after_the_triangles_are_named(tmp_path: Path, tail: bytes) -> None:
    part = read_bytes(tmp_path, made.binary_stl(VERTICES, FACES, tail=tail))
    assert part.body is not None
    assert len(part.body.faces) == 12
    assert part.notes[0].kind == "recovered"
    assert str(len(tail)) in part.notes[0].text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("upper", [False, True])
def test_ascii_in_any_case_and_line_end(tmp_path: Path, end: str, upper: bool) -> None:
    text = made.ascii_stl(VERTICES, FACES, end=end)
    part = read_bytes(tmp_path, text.upper() if upper else text)
    assert part.body is not None
    np.testing.assert_array_equal(part.body.vertices[part.body.faces], VERTICES[FACES])
    assert part.body.vertices.dtype == np.float64


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-16"])
def test_ascii_with_a_byte_order_mark(tmp_path: Path, code: str) -> None:
    part = read_bytes(tmp_path, made.ascii_stl(VERTICES, FACES).encode(code))
    assert part.body is not None
    assert len(part.body.faces) == 12


def test_solids_of_one_file_are_told_apart(tmp_path: Path) -> None:
    other, faces = made.box(5, 5, 5, at=(50, 0, 0))
    text = made.ascii_stl(VERTICES, FACES, name="one facet of it") + made.ascii_stl(other, faces, name="two")
    body = read_bytes(tmp_path, text).body
    assert body is not None
    assert body.object_names == ("one facet of it", "two")
    assert body.face_object is not None
    assert body.face_object.tolist() == [0] * 12 + [1] * 12


def test_solid_that_is_not_closed_is_noted(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.ascii_stl(VERTICES, FACES).replace("endsolid part\n", ""))
    assert part.body is not None
    assert len(part.body.faces) == 12
    assert part.notes[0].kind == "recovered"


def test_text_after_the_last_solid_is_named(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.ascii_stl(VERTICES, FACES) + "0\nSECTION\n2\nENTITIES\n0\nEOF\n")
    assert part.format == "STL"
    assert "left out" in part.notes[0].text


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("10.0 20.0 30.0", "10,0 20,0 30,0", "decimal points"),
        ("10.0 20.0 30.0", "10.0 1_0 30.0", "no number"),
        ("10.0 20.0 30.0", "nan 20.0 30.0", "no numbers"),
        ("10.0 20.0 30.0", "10.0 20.0", '"(endloop|vertex)" where a number belongs'),
        ("  endloop\n", "   vertex 1 2 3\n  endloop\n", "more than three corners"),
        ("outer loop", "outer hoop", '"hoop" where "loop" belongs'),
    ],
)
def test_bad_ascii_says_what_and_where(tmp_path: Path, old: str, new: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why) as caught:
        read_bytes(tmp_path, made.ascii_stl(VERTICES, FACES).replace(old, new, 1))
    assert "face" in caught.value.where or "facet" in caught.value.where


def test_ascii_cut_anywhere_in_a_facet_is_refused(tmp_path: Path) -> None:
    text = made.ascii_stl(VERTICES, FACES)
    start, end = text.rindex("  outer loop"), text.rindex("endfacet")
    for stop in range(start, end):
        with pytest.raises(Unreadable, match="cut off"):
            read_bytes(tmp_path, text[:stop])


def test_ascii_larger_than_one_lot_loses_nothing(tmp_path: Path) -> None:
    vertices, faces = made.grid(160)
    text = made.ascii_stl(vertices, faces)
    assert len(text) > 8 * 2**20
    body = read_bytes(tmp_path, text).body
    assert body is not None
    np.testing.assert_array_equal(body.vertices[body.faces], vertices[faces])


@pytest.mark.parametrize(
    ("vertices", "why"),
    [
        (VERTICES * 1e29, "impossible"),
        (VERTICES * 1e37, "impossible"),
        (VERTICES * 1e-41, "no size"),
        (VERTICES * 0, "no size"),
        (VERTICES * [1, 0, 0], "area"),
        (VERTICES + 1e9, "no size|too far"),
        (VERTICES + 3e7, "too far|no size"),
    ],
)
def test_impossible_numbers_are_refused(tmp_path: Path, vertices: made.Points, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        read_bytes(tmp_path, made.binary_stl(vertices, FACES))


def test_part_far_from_the_origin_is_noted(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.binary_stl(VERTICES + 2e5, FACES))
    assert "far from the origin" in part.notes[0].text


def test_one_triangle_is_no_solid(tmp_path: Path) -> None:
    for data in (made.binary_stl(VERTICES, FACES[:1]), made.ascii_stl(VERTICES, FACES[:1])):
        with pytest.raises(Unreadable, match="not a solid"):
            read_bytes(tmp_path, data)
