"""`lintsvc fold`: a flat becomes the body that it is bent to, in files that other readers understand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import trimesh
from parts import bent_solids
from parts.command import lintsvc, lintsvc_anew, write_housing

from lintsvc.demo import bracket
from lintsvc.measure.solid_sheet import as_sheet
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions
from lintsvc.reports.words import size

SAID = ("--material", bracket.MATERIAL, "--thickness", "2.5mm")
#: One flange goes up, the other down: they add to the height, less the sheet that both stand on.
SIZE = (bracket.PLATE_MM, bracket.WIDTH_MM, bracket.TAB_MM + bracket.FOOT_MM - bracket.THICKNESS_MM)


@pytest.fixture
def flat(tmp_path: Path) -> Path:
    bracket.write_bracket(tmp_path / "bracket.dxf", faulty=False)
    return tmp_path


def test_step_of_a_folded_flat_is_the_solid_of_its_outside_sizes(flat: Path) -> None:
    ran = lintsvc_anew("fold", "bracket.dxf", "bracket.step", *SAID, cwd=flat)
    assert ran.returncode == 0, ran.stderr
    part = read_part(flat / "bracket.step", ReadOptions("bracket.step", ""))
    assert sorted(part.size_mm) == pytest.approx(sorted(SIZE), abs=0.01)
    again = as_sheet(part, bracket.MATERIAL, None, "aluminium")
    assert again.sheet is not None
    assert sorted(b.direction for b in again.sheet.bends) == ["down", "up"]


def test_mesh_of_a_folded_flat_is_closed_and_of_the_same_size(flat: Path) -> None:
    assert lintsvc("fold", "bracket.dxf", "bracket.glb", *SAID, cwd=flat).returncode == 0
    mesh = trimesh.load(flat / "bracket.glb", force="mesh")
    mesh.merge_vertices()
    assert mesh.is_watertight
    # glTF is in metres.
    assert sorted(mesh.extents * 1000) == pytest.approx(sorted(SIZE), abs=0.02)


def test_json_of_a_folded_flat_holds_its_panels_and_bends(flat: Path) -> None:
    assert lintsvc("fold", "bracket.dxf", "bracket.json", *SAID, cwd=flat).returncode == 0
    data = json.loads((flat / "bracket.json").read_text())
    assert (data["panels"], [b["direction"] for b in data["bends"]]) == (3, ["down", "up"])
    assert sorted(x for (x,) in data["order"]) == [0, 1]


def test_report_of_a_flat_says_how_large_it_is_once_folded(flat: Path) -> None:
    told = {x: lintsvc("check", "bracket.dxf", *SAID, "--format", x, cwd=flat).stdout for x in ("json", "text", "html")}
    (part,) = json.loads(told["json"])["parts"]
    assert sorted(part["part"]["folded_mm"]) == pytest.approx(sorted(SIZE), abs=0.01)
    words = "folded " + size([round(x, 2) for x in part["part"]["folded_mm"]])
    assert words in told["text"]
    assert words in told["html"]
    # Nobody says how thick it is: then nobody knows what it becomes.
    unsaid = json.loads(lintsvc("check", "bracket.dxf", "--format", "json", cwd=flat).stdout)
    assert "folded_mm" not in unsaid["parts"][0]["part"]


def test_bent_solid_is_unfolded_and_folded_again(tmp_path: Path) -> None:
    made = next(x for x in bent_solids.PARTS if x.name == "offset")
    bent_solids.written(made.make(), tmp_path / "offset.step")
    ran = lintsvc("fold", "offset.step", "again.stp", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    sizes = [sorted(read_part(tmp_path / x, ReadOptions(x, "")).size_mm) for x in ("offset.step", "again.stp")]
    assert sizes[0] == pytest.approx(sizes[1], abs=0.01)


def test_what_is_not_known_is_asked_for(flat: Path) -> None:
    ran = lintsvc("fold", "bracket.dxf", "bracket.step", cwd=flat)
    assert ran.returncode == 1
    assert "thickness is not known" in ran.stderr
    bracket.write_bracket(flat / "faulty.dxf", faulty=True)
    ran = lintsvc("fold", "faulty.dxf", "faulty.step", *SAID, cwd=flat)
    assert ran.returncode == 1
    assert not list(flat.glob("*.step"))


def test_nothing_is_written_over_and_other_endings_are_refused(flat: Path) -> None:
    (flat / "there.step").write_text("mine")
    assert lintsvc("fold", "bracket.dxf", "there.step", *SAID, cwd=flat).returncode == 1
    assert (flat / "there.step").read_text() == "mine"
    ran = lintsvc("fold", "bracket.dxf", "bracket.obj", *SAID, cwd=flat)
    assert ran.returncode == 2
    assert ".step" in ran.stderr


def test_a_body_is_not_folded(tmp_path: Path) -> None:
    write_housing(tmp_path / "housing.stl")
    ran = lintsvc("fold", "housing.stl", "housing.step", cwd=tmp_path)
    assert ran.returncode == 1
    assert "no sheet part" in ran.stderr
