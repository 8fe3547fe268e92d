"""glTF 2.0: node transforms, strips and fans, sparse and normalized numbers; metres and Y up turned to mm and Z up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Part, Unreadable

VERTICES, FACES = made.box(0.010, 0.020, 0.030)


def volume(part: Part) -> float:
    assert part.body is not None
    a, b, c = (part.body.vertices[part.body.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def read(folder: Path, **changes: Any) -> Part:
    return read_bytes(folder, made.glb(*made.gltf_root(VERTICES, FACES, **changes)))


@pytest.mark.parametrize("form", ["glb", "gltf"])
def test_metres_become_mm_and_y_up_becomes_z_up(tmp_path: Path, form: str) -> None:
    root, buffer = made.gltf_root(VERTICES, FACES)
    part = read_bytes(tmp_path, made.glb(root, buffer) if form == "glb" else made.gltf(root, buffer))
    assert part.format == "glTF"
    # glTF 2.0 section 3.4: metres, +Y up. The part's y (20 mm) becomes its height.
    assert part.size_mm == pytest.approx((10, 30, 20))
    assert part.units.stated
    assert part.body is not None
    np.testing.assert_array_equal(part.body.faces, FACES)
    x, y, z = np.float32(VERTICES).astype(float).T * 1000
    np.testing.assert_allclose(part.body.vertices, np.stack((x, -z, y), axis=1))
    assert volume(part) == pytest.approx(6000, rel=1e-6)
    assert any("Z is up" in note.text for note in part.notes)


def test_node_transforms_chain(tmp_path: Path) -> None:
    half = 2**-0.5
    nodes = [
        {"children": [1], "translation": [1, 0, 0]},
        {"mesh": 0, "rotation": [0, 0, half, half], "scale": [2, 1, 1]},
    ]
    part = read(tmp_path, nodes=nodes)
    assert part.body is not None
    # Scale x by 2, a quarter turn about z (x' = -y, y' = x), then one metre along x.
    x, y, z = VERTICES.T * 1000
    world = np.stack((1000 - y, 2 * x, z), axis=1)
    np.testing.assert_allclose(part.body.vertices, world[:, [0, 2, 1]] * [1, -1, 1], atol=1e-3)


def test_matrix_is_stored_by_columns(tmp_path: Path) -> None:
    part = read(tmp_path, nodes=[{"mesh": 0, "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 7, 0, 0, 1]}])
    assert part.body is not None
    assert part.body.vertices[:, 0].min() == pytest.approx(7000)


def test_mirroring_node_keeps_the_outside_out(tmp_path: Path) -> None:
    assert volume(read(tmp_path, nodes=[{"mesh": 0, "scale": [-1, 1, 1]}])) == pytest.approx(6000, rel=1e-6)


def test_strip_and_fan_of_the_specification(tmp_path: Path) -> None:
    # glTF 2.0 section 3.7.2.1: strip p_i = {v_i, v_(i+1+i%2), v_(i+2-i%2)}, fan p_i = {v_(i+1), v_(i+2), v_0}.
    for mode, want in (
        (5, [[0, 1, 2], [1, 3, 2], [2, 3, 4], [3, 5, 4]]),
        (6, [[1, 2, 0], [2, 3, 0], [3, 4, 0], [4, 5, 0]]),
    ):
        meshes = [{"primitives": [{"attributes": {"POSITION": 0}, "mode": mode, "indices": 1}]}]
        root, buffer = made.gltf_root(VERTICES, np.arange(6), meshes=meshes)
        part = read_bytes(tmp_path, made.glb(root, buffer))
        assert part.body is not None
        assert part.body.faces.tolist() == want


def test_sparse_accessor_replaces_single_vertices(tmp_path: Path) -> None:
    root, buffer = made.gltf_root(VERTICES, FACES)
    extra = np.array([7], "<u2").tobytes() + b"\0\0" + np.array([[0.1, 0.02, 0.03]], "<f4").tobytes()
    root["bufferViews"] += [
        {"buffer": 0, "byteOffset": len(buffer), "byteLength": 2},
        {"buffer": 0, "byteOffset": len(buffer) + 4, "byteLength": 12},
    ]
    root["accessors"][0]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 3},
    }
    part = read_bytes(tmp_path, made.glb(root, buffer + extra))
    assert part.size_mm == pytest.approx((100, 30, 20))


def test_normalized_integers_are_fractions(tmp_path: Path) -> None:
    # Section 3.6.2.2: a normalized unsigned short c stands for c / 65535.
    whole = np.round(VERTICES / 0.030 * 65535).astype("<u2")
    padded = np.zeros((8, 4), "<u2")
    padded[:, :3] = whole
    root, _ = made.gltf_root(VERTICES, FACES)
    order = np.asarray(FACES, "<u2").tobytes()
    root["bufferViews"] = [
        {"buffer": 0, "byteLength": 64, "byteStride": 8},
        {"buffer": 0, "byteOffset": 64, "byteLength": len(order)},
    ]
    root["accessors"][0].update(componentType=5123, normalized=True)
    root["nodes"] = [{"mesh": 0, "scale": [0.03, 0.03, 0.03]}]
    root["extensionsRequired"] = ["KHR_mesh_quantization"]
    part = read_bytes(tmp_path, made.glb(root, padded.tobytes() + order))
    assert part.size_mm == pytest.approx((10, 30, 20), abs=0.001)


def test_several_nodes_are_objects(tmp_path: Path) -> None:
    nodes = [{"mesh": 0, "name": "left"}, {"mesh": 0, "name": "right", "translation": [1, 0, 0]}]
    part = read(tmp_path, nodes=nodes, scenes=[{"nodes": [0, 1]}])
    assert part.body is not None
    assert part.body.object_names == ("left", "right")
    assert part.body.face_object is not None
    assert part.body.face_object.tolist() == [0] * 12 + [1] * 12


def test_lines_and_morphs_are_named(tmp_path: Path) -> None:
    primitives = [
        {"attributes": {"POSITION": 0}, "indices": 1, "targets": []},
        {"attributes": {"POSITION": 0}, "mode": 1},
    ]
    notes = " ".join(note.text for note in read(tmp_path, meshes=[{"primitives": primitives}]).notes)
    assert "1 primitives of points or lines" in notes
    assert "Morph" in notes


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"asset": {"version": "1.0"}}, "version"),
        ({"asset": None}, "no glTF"),
        ({"extensionsRequired": ["KHR_draco_mesh_compression"]}, "without compression"),
        ({"extensionsRequired": ["X_new"]}, "X_new"),
        ({"buffers": [{"byteLength": 9, "uri": "box.bin"}]}, "another file"),
        ({"buffers": [{"byteLength": 9, "uri": "data:;base64,@@@"}]}, "base64"),
        ({"buffers": []}, "damaged"),
        ({"scene": 5}, "scene"),
        ({"scene": True}, "scene"),
        ({"nodes": [{"mesh": 3}]}, "mesh"),
        ({"nodes": [{"children": [0], "mesh": 0}]}, "under itself"),
        ({"nodes": [{"mesh": 0, "scale": [0, 0, 0]}]}, "nothing"),
        ({"nodes": [{"mesh": 0, "scale": [1, 1]}]}, "scale"),
        ({"nodes": [{"mesh": 0, "scale": ["1", 1, 1]}]}, "scale"),
        ({"meshes": [{"primitives": [{"attributes": {}}]}]}, "positions"),
        ({"meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": 9}]}]}, "mode"),
        ({"bufferViews": [{"buffer": 0, "byteLength": 9999}]}, "past the end"),
    ],
)
def test_bad_files_say_what(tmp_path: Path, changes: dict[str, Any], why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        read(tmp_path, **changes)


def test_cut_and_padded_glb(tmp_path: Path) -> None:
    root, buffer = made.gltf_root(VERTICES, FACES)
    data = made.glb(root, buffer)
    for cut in (1, 30, len(data) - 15):
        with pytest.raises(Unreadable, match="cut off"):
            read_bytes(tmp_path, data[:-cut])
    part = read_bytes(tmp_path, data + b"more")
    assert any(note.kind == "recovered" for note in part.notes)
