"""GLB highlights, read back by trimesh and pygltflib."""

from __future__ import annotations

import io
import json
import struct
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import trimesh
from parts import reports

from lintsvc.model.body import Body
from lintsvc.model.finding import Finding, Where
from lintsvc.reports.colours import LEVEL, linear
from lintsvc.reports.highlights_glb import write_glb


def body() -> Body:
    found = reports.housing_part().body
    assert found is not None
    return found


def document(data: bytes) -> dict[str, Any]:
    (length,) = struct.unpack_from("<I", data, 12)
    parsed: dict[str, Any] = json.loads(data[20 : 20 + length])
    return parsed


def nodes(data: bytes) -> dict[str, dict[str, Any]]:
    parsed = document(data)
    return {x["name"]: x for x in parsed["nodes"] if "name" in x}


def triangles(data: bytes) -> dict[str, np.ndarray]:
    """Outside check: trimesh's reading, each geometry's triangles in mm with z up again."""
    scene = trimesh.load_scene(io.BytesIO(data), file_type="glb")
    found = {}
    for name in scene.graph.nodes_geometry:
        transform, geometry = scene.graph[name]
        shape = scene.geometry[geometry]
        if isinstance(shape, trimesh.Trimesh):
            moved = trimesh.transformations.transform_points(shape.vertices, transform) * 1000.0
            found[name] = np.stack([moved[:, 0], -moved[:, 2], moved[:, 1]], axis=1)[shape.faces]
    return found


def test_faulty_faces_are_a_piece_of_their_own_at_the_true_place() -> None:
    data = write_glb(body(), [reports.thin_wall()])
    found = triangles(data)
    assert len(found) == 2
    lit = next(value for name, value in found.items() if "thin-wall" in name)
    rest = next(value for name, value in found.items() if "thin-wall" not in name)
    np.testing.assert_allclose(lit, body().vertices[body().faces[[0, 1]]], atol=1e-4)
    np.testing.assert_allclose(rest, body().vertices[body().faces[2:]], atol=1e-4)


def test_finding_has_its_levels_colour_and_says_what_it_is() -> None:
    data = write_glb(body(), [reports.thin_wall(), reports.open_edge()])
    parsed, named = document(data), nodes(data)
    for finding in (reports.thin_wall(), reports.open_edge()):
        node = named[finding.rule]
        assert node["extras"]["fingerprint"] == finding.fingerprint
        for primitive in parsed["meshes"][node["mesh"]]["primitives"]:
            colour = parsed["materials"][primitive["material"]]["pbrMetallicRoughness"]["baseColorFactor"]
            assert tuple(colour[:3]) == linear(LEVEL[finding.level])


def test_open_edges_and_measured_distances_are_lines() -> None:
    data = write_glb(body(), [reports.thin_wall(), reports.open_edge()])
    parsed, named = document(data), nodes(data)
    modes = {
        rule: [p["mode"] for p in parsed["meshes"][named[rule]["mesh"]]["primitives"]] for rule in named if "/" in rule
    }
    assert modes == {"powder-bed/thin-wall": [4, 1], "soundness/open-edge": [1]}


def test_finding_with_nothing_but_a_point_gets_a_cross() -> None:
    finding = reports.thin_wall(where=Where((25.0, 20.0, 6.0), ((25.0, 20.0, 6.0), (25.0, 20.0, 6.0))))
    parsed = document(write_glb(body(), [finding]))
    accessor = parsed["accessors"][parsed["meshes"][1]["primitives"][0]["attributes"]["POSITION"]]
    assert accessor["count"] == 6


def test_face_of_two_findings_is_in_both() -> None:
    second = replace(reports.thin_wall(), rule="powder-bed/second")
    found = triangles(write_glb(body(), [reports.thin_wall(), second]))
    assert sorted(len(x) for x in found.values()) == [2, 2, 10]


@pytest.mark.parametrize("faces", [tuple(range(12)), (), (99, -1)])
def test_all_faces_no_faces_and_wrong_numbers_give_a_readable_file(faces: tuple[int, ...]) -> None:
    finding = reports.thin_wall(where=Where((25.0, 20.0, 6.0), ((5.0, 5.0, 0.0), (45.0, 35.0, 12.0)), faces=faces))
    found = triangles(write_glb(body(), [finding]))
    assert sum(len(x) for x in found.values()) == 12


def test_finding_without_a_place_is_left_out() -> None:
    findings: list[Finding] = [reports.thin_wall(where=None)]
    assert len(document(write_glb(body(), findings))["meshes"]) == 1


def test_part_far_from_the_origin_keeps_its_digits() -> None:
    far = replace(body(), vertices=body().vertices + 1e6)
    data = write_glb(far, [])
    parsed = document(data)
    accessor = parsed["accessors"][0]
    assert accessor["max"] == [20.0, 15.0, 6.0]
    assert parsed["nodes"][1]["translation"] == [1e6 + 25.0, 1e6 + 20.0, 1e6 + 6.0]


def test_chunks_and_views_lie_on_multiples_of_four() -> None:
    """glTF 2.0, section 4.4: chunk lengths; section 3.6.2.4: accessors."""
    data = write_glb(body(), [reports.thin_wall()])
    magic, version, total = struct.unpack_from("<4sII", data)
    assert (magic, version, total) == (b"glTF", 2, len(data))
    assert all(x["byteOffset"] % 4 == 0 for x in document(data)["bufferViews"])
    assert len(data) % 4 == 0
