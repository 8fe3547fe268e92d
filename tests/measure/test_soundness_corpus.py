"""Real part files: what is measured agrees with facts observed with other libraries, and with two of them run here."""

from __future__ import annotations

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.edges import CROWDED, OPEN
from lintsvc.model.part import Part
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

pytestmark = pytest.mark.needs_shared
CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus" / "open"

#: Where the facts of the index mean something else, and why. Facts were observed with trimesh.
OTHER_MEANING = {
    # Open, or wound both ways: a sum of signed volumes then depends on the point that it is taken about.
    "stl/nonmanifold.stl": {"volume"},
    "stl/sphereWithHole.stl": {"volume"},
    "stl/multibody.stl": {"volume"},
    "glb/boxNotManifold.glb": {"volume"},
    # trimesh takes what hangs together over a vertex as one body; here it takes an edge.
    "obj/WusonOBJ.obj": {"volume", "bodies"},
    "3mf/featuretype.3MF": {"bodies"},
    # And three faces of this one stand in it twice: here they count once.
    "obj/openscad-nonmanifold-crash.obj": {"bodies", "volume"},
    # Two files of the package each hold an object 1; trimesh puts both into both places: 16 triangles for 8.
    "3mf/production_components.3mf": {"triangles", "volume", "area"},
}


@cache
def index() -> dict[str, dict[str, Any]]:
    """Facts by file, for bodies that have triangles."""
    csv.field_size_limit(10**9)
    with (CORPUS / "INDEX.tsv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))
    found = {}
    for row in rows:
        if row["format"] in ("stl", "obj", "ply", "3mf", "glb"):
            facts = json.loads(row["observed_facts_json"])
            facts = facts.get("mesh", facts)
            if facts.get("triangles") and "volume" in facts and row["file"] != "obj/Cray_right.obj":
                found[row["file"]] = facts
    return found


FILES = sorted(index()) if CORPUS.is_dir() else []


@cache
def part(file: str) -> Part:
    return read_part(CORPUS / file, ReadOptions(file, ""))


@cache
def measured(file: str) -> BodyMeasurements:
    body = part(file).body
    assert body is not None
    return BodyMeasurements(body)


def welded(file: str) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces, without faces that have two corners on one vertex."""
    mesh = measured(file).mesh
    kept = np.ones(len(mesh), bool)
    kept[measured(file).soundness.topology.collapsed] = False
    return mesh.vertices, mesh.faces[kept]


@pytest.mark.parametrize("file", FILES)
def test_facts_agree_with_the_index(file: str) -> None:
    facts, body = index()[file], measured(file)
    skip = OTHER_MEANING.get(file, set())
    mate = body.mesh.mates
    scale = part(file).units.mm_per_unit
    mine = {
        "triangles": body.triangles,
        "watertight": body.watertight,
        "winding_consistent": not body.soundness.flipped and not body.soundness.twisted,
        "boundary_edges": int((mate == OPEN).sum()),
        "bodies": body.body_count,
    }
    for name, value in mine.items():
        if name not in skip:
            assert value == facts[name], name
    if "volume" not in skip:
        assert body.volume_mm3 / scale**3 == pytest.approx(facts["volume"], rel=1e-5)
    if "area" not in skip:
        assert body.area_mm2 / scale**2 == pytest.approx(facts["area"], rel=1e-5)
    if "edges_gt2_faces" not in skip:
        # trimesh counts the edge of a face with two equal corners twice; without such faces the counts agree.
        assert (facts["edges_gt2_faces"] > 0) == bool((mate <= CROWDED).any() or len(body.soundness.topology.collapsed))


@pytest.mark.parametrize("file", FILES)
def test_degenerate_and_copied_faces_are_at_least_those_of_the_index(file: str) -> None:
    # trimesh asks for a height under 1e-8 file units, here it is the last digit of the coordinates: never less.
    facts, soundness = index()[file], measured(file).soundness
    assert int(soundness.flat.sum()) >= facts["degenerate_faces"]
    copies = len(soundness.topology.set_aside) - len(soundness.topology.collapsed)
    # Of two faces back to back both are set aside here, and one is a copy there.
    assert (copies > 0) == (facts["duplicate_faces"] > 0) or len(soundness.topology.collapsed) > 0


@pytest.mark.parametrize("file", FILES)
def test_edges_and_vertices_agree_with_pymeshlab(file: str) -> None:
    import pymeshlab

    vertices, faces = welded(file)
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(vertices, faces))
    theirs = meshes.get_topological_measures()
    topology = measured(file).soundness.topology
    if len(topology.set_aside) == len(topology.collapsed):
        assert theirs["boundary_edges"] == len(topology.open)
        assert theirs["non_two_manifold_edges"] == len(
            np.unique(np.sort(topology.ends(topology.crowded), axis=1), axis=0)
        )
        if not len(topology.open) and not len(topology.crowded):
            assert theirs["non_two_manifold_vertices"] == len(topology.pinched)
            assert theirs["connected_components_number"] == measured(file).soundness.shells.count


@pytest.mark.parametrize("file", FILES)
def test_pinched_vertices_agree_with_libigl(file: str) -> None:
    import igl

    topology = measured(file).soundness.topology
    faces = measured(file).mesh.faces[topology.counted]
    used, renamed = np.unique(faces, return_inverse=True)
    single = igl.is_vertex_manifold(renamed.reshape(-1, 3).astype(np.int64))
    theirs = set(used[~np.asarray(single).ravel()[: len(used)]].tolist())
    edge = {x for half in (topology.open, topology.crowded) for x in topology.ends(half).ravel().tolist()}
    assert set(topology.pinched.tolist()) == theirs - edge


@pytest.mark.parametrize("file", FILES)
def test_crossing_faces_agree_with_pymeshlab(file: str) -> None:
    import pymeshlab

    # Both see what goes through; what only touches, or lies in one plane, each tells in its own way.
    soundness = measured(file).soundness
    found = soundness.contacts
    vertices, faces = welded(file)
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(vertices, faces))
    meshes.compute_selection_by_self_intersections_per_face()
    theirs = int(meshes.current_mesh().face_selection_array().sum())
    deep = found.of((found.kind == 1) & (found.depth_mm > 1e-3))
    if len(deep):
        assert theirs >= 0.98 * len(deep.faces)
    if theirs == 0:
        assert not len(deep)
