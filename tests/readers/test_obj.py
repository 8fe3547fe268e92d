"""OBJ: indices from both ends, polygons, groups; nothing beside the file is opened."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

VERTICES, FACES = made.box()


@pytest.mark.parametrize("slashes", ["", "/1", "//7", "/1/7"])
def test_texture_and_normal_numbers_are_passed_over(tmp_path: Path, slashes: str) -> None:
    body = read_bytes(tmp_path, made.obj(VERTICES, FACES, slashes=slashes)).body
    assert body is not None
    np.testing.assert_array_equal(body.faces, FACES)
    np.testing.assert_array_equal(body.vertices, VERTICES)


def test_negative_numbers_count_back_from_where_they_stand(tmp_path: Path) -> None:
    first = made.obj(VERTICES, [])
    back = "".join(f"f {' '.join(str(i - 8) for i in face)}\n" for face in FACES.tolist())
    second = "".join(f"v {x + 50} {y} {z}\n" for x, y, z in VERTICES.tolist())
    body = read_bytes(tmp_path, first + back + second + back).body
    assert body is not None
    np.testing.assert_array_equal(body.faces, np.concatenate((FACES, FACES + 8)))


def test_polygons_become_fans_in_order_and_are_noted(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.obj(VERTICES, made.QUADS))
    assert part.body is not None
    want = [t for a, b, c, d in made.QUADS for t in ((a, b, c), (a, c, d))]
    assert part.body.faces.tolist() == [list(t) for t in want]
    assert "6 faces" in part.notes[0].text


def test_mixed_polygons_and_continued_lines(tmp_path: Path) -> None:
    text = made.obj(VERTICES, [*made.QUADS[:3], *FACES[3:6].tolist(), *FACES[9:].tolist()])
    body = read_bytes(tmp_path, text.replace("f 1 2", "f \\\n 1 2").replace("\n", "\r\n")).body
    assert body is not None
    assert len(body.faces) == 12


def test_objects_and_groups_own_their_faces(tmp_path: Path) -> None:
    lines = made.obj(VERTICES, FACES).splitlines()
    text = "\n".join(
        ["mtllib ../../secret.mtl", *lines[:8], "g left", *lines[8:14], "usemtl red", "g right", *lines[14:]]
    )
    body = read_bytes(tmp_path, text).body
    assert body is not None
    assert body.object_names == ("left", "right")
    assert body.face_object is not None
    assert body.face_object.tolist() == [0] * 6 + [1] * 6


def test_colours_after_coordinates_are_passed_over(tmp_path: Path) -> None:
    text = made.obj(VERTICES, FACES).replace("v 10.0 20.0 30.0", "v 10.0 20.0 30.0 0.5 0.5 0.5")
    assert read_bytes(tmp_path, text).size_mm == (10.0, 20.0, 30.0)


def test_points_and_lines_are_left_out_and_said_so(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.obj(VERTICES, FACES) + "l 1 2\nl 2 3\np 1\n")
    assert sorted(note.text.split(" in ")[0] for note in part.notes) == ["1 points", "2 lines"]


@pytest.mark.parametrize("code", ["utf-16-le", "utf-16-be", "utf-32-le", "utf-8"])
def test_other_character_codes(tmp_path: Path, code: str) -> None:
    body = read_bytes(tmp_path, ("\ufeff" + made.obj(VERTICES, FACES)).encode(code)).body
    assert body is not None
    assert len(body.faces) == 12


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("f 1 2 99", "names vertex 98"),
        ("f 0 1 2", "vertex 0"),
        ("f -9 1 2", "vertex -9"),
        ("f 1 2", "fewer than three"),
        ("f 1 2 x", "no vertex number"),
        ("f 1 2 1_0", "no vertex number"),
        ("f 1 2 3.5", "no vertex number"),
        ("v 1 2", "fewer than three"),
        ("v 1 2 y", "no number"),
        ("v 1 2 nan\nf 9 1 2", "no numbers"),
        ("curv2 1 2 3", "free-form"),
        ("hello there", "no word"),
    ],
)
def test_bad_lines_say_what_and_where(tmp_path: Path, line: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why) as caught:
        # The head alone tells the format, so the bad line stands after it.
        read_bytes(tmp_path, made.obj(VERTICES, FACES) + "# filler\n" * 500 + line + "\n")
    assert caught.value.where


def test_larger_than_one_lot_loses_nothing(tmp_path: Path) -> None:
    vertices, faces = made.grid(300)
    text = made.obj(vertices, faces.tolist())
    assert len(text) > 5 * 2**20
    body = read_bytes(tmp_path, text).body
    assert body is not None
    np.testing.assert_array_equal(body.faces, faces)
    np.testing.assert_array_equal(body.vertices, vertices)
