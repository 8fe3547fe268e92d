"""Real mesh files of others: triangles, size, area and volume agree with what was observed of them.

The observations were made with general-purpose libraries and stand in the corpus's index; trimesh is
asked again here, as a second opinion on each file.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts.reading import read_file

from lintsvc.model.body import Body
from lintsvc.model.part import Part, Unreadable

pytestmark = pytest.mark.needs_shared
csv.field_size_limit(sys.maxsize)

#: Files that cannot be used, and the word that the reason must hold.
REFUSED = {
    "stl/toomanyvertices.stl": "three corners",
    "obj/Cray_right.obj": "impossible",
    "ply/points_bin.ply": "point cloud",
    "3mf/pyramid.3mf": "lattice",
    "3mf/DOS-FUZ-LIB3MF.3mf": "damaged",
    "3mf/MUSTFAIL_Chapter3.4.3.1a_NotMatchingObjectIdInBuildItem.3mf": 'object "14"',
}
#: Read here, where the observing library failed or was wrong; why.
NOT_OBSERVED = {
    # Two objects of one number in two parts: the library took one of them twice. By the production
    # extension it is a 10 mm and a 5 mm corner, 20 mm apart: 25 x 10 x 10 mm.
    "3mf/production_components.3mf": ((25.0, 10.0, 10.0), 8),
    "3mf/multiprop-metallic.3mf": ((100.0, 100.0, 100.0), 12),
    "obj/box_UTF16BE.obj": ((1.0, 1.0, 1.0), 12),
}


def rows(shared: Path) -> dict[str, dict[str, Any]]:
    with (shared / "corpus/open/INDEX.tsv").open(encoding="utf8") as file:
        table = csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        return {
            row["file"]: json.loads(row["observed_facts_json"])
            for row in table
            if row["format"] in ("stl", "obj", "ply", "glb", "3mf")
        }


@pytest.fixture(scope="module")
def parts(shared: Path) -> dict[str, Part | Unreadable]:
    found: dict[str, Part | Unreadable] = {}
    for name in rows(shared):
        try:
            found[name] = read_file(shared / "corpus/open" / name)
        except Unreadable as error:
            found[name] = error
    return found


def area_and_volume(body: Body) -> tuple[float, float]:
    a, b, c = (body.vertices[body.faces[:, i]].astype(np.float64) for i in range(3))
    middle = a.mean(axis=0)
    normal = np.cross(b - a, c - a)
    return float(np.linalg.norm(normal, axis=1).sum() / 2), float(np.einsum("ij,ij->", a - middle, normal) / 6)


def test_only_files_that_cannot_be_used_are_refused(parts: dict[str, Part | Unreadable]) -> None:
    refused = {name: str(part) for name, part in parts.items() if isinstance(part, Unreadable)}
    assert set(refused) == set(REFUSED)
    for name, word in REFUSED.items():
        assert word in refused[name]


def test_facts_agree_with_the_index(shared: Path, parts: dict[str, Part | Unreadable]) -> None:
    checked = 0
    for name, facts in rows(shared).items():
        part = parts[name]
        if isinstance(part, Unreadable) or name in NOT_OBSERVED:
            continue
        facts = facts.get("mesh", facts)
        assert part.body is not None
        scale = part.units.mm_per_unit
        assert len(part.body.faces) == facts["triangles"], name
        size = np.array(part.size_mm) / scale
        if part.format == "glTF":
            # Turned from Y up to Z up.
            size = size[[0, 2, 1]]
        np.testing.assert_allclose(size, facts["extents"], rtol=2e-5, err_msg=name)
        area, volume = area_and_volume(part.body)
        assert area / scale**2 == pytest.approx(facts["area"], rel=1e-4), name
        if facts.get("winding_consistent") and facts.get("watertight"):
            assert volume / scale**3 == pytest.approx(facts["volume"], rel=1e-3), name
        checked += 1
    assert checked == len(parts) - len(REFUSED) - len(NOT_OBSERVED)


def test_files_that_the_observing_library_could_not_read(parts: dict[str, Part | Unreadable]) -> None:
    for name, (size, triangles) in NOT_OBSERVED.items():
        part = parts[name]
        assert isinstance(part, Part)
        assert part.body is not None
        assert (part.size_mm, len(part.body.faces)) == (pytest.approx(size), triangles), name


def test_stated_units_are_those_of_the_file(shared: Path, parts: dict[str, Part | Unreadable]) -> None:
    names = {"millimeter": "mm", "inch": "in", "meters": "m"}
    for name, facts in rows(shared).items():
        part = parts[name]
        hint = facts.get("mesh", facts).get("units_hint")
        if hint and isinstance(part, Part):
            assert part.units.stated
            assert part.units.value == names[hint], name


def test_trimesh_sees_the_same_triangles(shared: Path, parts: dict[str, Part | Unreadable]) -> None:
    import trimesh

    compared = 0
    for name, part in parts.items():
        if isinstance(part, Unreadable) or name in NOT_OBSERVED:
            continue
        path = shared / "corpus/open" / name
        other = trimesh.load_scene(path, file_type=path.suffix[1:].lower(), process=False).to_mesh()
        assert part.body is not None
        mine = part.body.vertices[part.body.faces].astype(np.float64) / part.units.mm_per_unit
        if part.format == "glTF":
            mine = mine[..., [0, 2, 1]] * [1, 1, -1]
        theirs = np.asarray(other.vertices, np.float64)[other.faces]
        assert len(mine) == len(theirs), name
        size = np.ptp(theirs.reshape(-1, 3), axis=0).max()
        if not np.allclose(mine, theirs, atol=1e-5 * size):
            # That library sorts objects by name: compare the triangles without their order.
            mine, theirs = (np.sort(x.mean(axis=1) @ [1.0, 2.7, 7.1]) for x in (mine, theirs))
            np.testing.assert_allclose(mine, theirs, atol=1e-4 * size, err_msg=name)
        compared += 1
    assert compared >= 30
