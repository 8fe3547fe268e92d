"""PLY: three codings, lists of any length, headers that lie."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

VERTICES, FACES = made.box()
FORMS = ["ascii", "binary_little_endian", "binary_big_endian"]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("kind", ["float", "double"])
def test_all_codings_agree(tmp_path: Path, form: str, kind: str) -> None:
    part = read_bytes(tmp_path, made.ply(VERTICES, FACES.tolist(), form=form, kind=kind))
    assert part.format == "PLY"
    assert part.body is not None
    np.testing.assert_array_equal(part.body.faces, FACES)
    np.testing.assert_array_equal(part.body.vertices, VERTICES)
    assert part.body.vertices.dtype == (np.float32 if kind == "float" and form != "ascii" else np.float64)


@pytest.mark.parametrize("form", FORMS)
def test_polygons_and_triangles_mixed(tmp_path: Path, form: str) -> None:
    mixed = [*made.QUADS[:3], *FACES[3:6].tolist(), *FACES[9:].tolist()]
    part = read_bytes(tmp_path, made.ply(VERTICES, mixed, form=form))
    assert part.body is not None
    want = [t for a, b, c, d in made.QUADS[:3] for t in ([a, b, c], [a, c, d])]
    assert part.body.faces.tolist() == want + FACES[3:6].tolist() + FACES[9:].tolist()


def test_vertices_after_faces_and_other_elements(tmp_path: Path) -> None:
    text = (
        "ply\r\nformat ascii 1.0\r\nelement face 12\r\nproperty uchar flags\r\nproperty list uchar int vertex_index\r\n"
        "property list uchar float texcoord\r\nelement vertex 8\r\nproperty float x\r\nproperty float y\r\n"
        "property float z\r\nelement edge 2\r\nproperty int v1\r\nproperty int v2\r\nend_header\r\n"
    )
    text += "".join(f"7 3 {a} {b} {c} 2 0.5 0.25\r\n" for a, b, c in FACES.tolist())
    text += "".join(f"{x} {y} {z}\r\n" for x, y, z in VERTICES.tolist()) + "0 1\r\n1 2\r\n"
    part = read_bytes(tmp_path, text)
    assert part.body is not None
    np.testing.assert_array_equal(part.body.faces, FACES)
    assert part.notes[0].kind == "ignored"
    assert "2 edge rows" in part.notes[0].text


@pytest.mark.parametrize("form", FORMS)
def test_cut_files_are_refused(tmp_path: Path, form: str) -> None:
    data = made.ply(VERTICES, FACES.tolist(), form=form)
    for cut in (3, 20, 120):
        with pytest.raises(Unreadable):
            read_bytes(tmp_path, data[:-cut])


@pytest.mark.parametrize("form", FORMS)
def test_points_alone_are_no_body(tmp_path: Path, form: str) -> None:
    with pytest.raises(Unreadable, match="point cloud"):
        read_bytes(tmp_path, made.ply(VERTICES, [], form=form))


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (b"element vertex 8", b"element vertex 8000000000000", "cut off"),
        (b"element vertex 8", b"element vertex -8", "bad line"),
        (b"element face 12", b"element face 11000000", "cut off|limit"),
        (b"property float y", b"property floot y", "bad line"),
        (b"property float y", b"property float x", "bad line"),
        (b"property float y", b"property float why", "no y"),
        (b"vertex_indices", b"vertex_colours", "no vertex_indices"),
        (b"format ascii 1.0\n", b"", "no format"),
        (b"end_header", b"end_of_it", "no end"),
        (b"\n3 ", b"\n2 ", "does not hold|fewer than three"),
        (b"\n3 0", b"\n3 -1", "names vertex -1"),
        (b"\n3 0", b"\n3 8", "names vertex 8"),
        (b"30.0", b"inf", "no numbers"),
    ],
)
def test_bad_files_say_what(tmp_path: Path, old: bytes, new: bytes, why: str) -> None:
    data = made.ply(VERTICES, FACES.tolist())
    assert old in data
    with pytest.raises(Unreadable, match=why):
        read_bytes(tmp_path, data.replace(old, new, 1))
