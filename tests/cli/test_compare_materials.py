"""`lintsvc compare-materials`: the table as text and as JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from parts.command import lintsvc

from lintsvc.commands.compare_materials import compare_materials
from lintsvc.demo import write_demo


@pytest.fixture(scope="module")
def gauge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gauge")
    write_demo(folder)
    return folder


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(compare_materials, [str(x) for x in words])


def test_a_body_has_a_line_for_each_printed_material(gauge: Path) -> None:
    result = run(gauge / "good/lid.stl")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0].split() == ["material", "thickness", "result", "mass", "stiffness", "worst"]
    assert [x for x in lines if x.startswith("→") and "pa12" in x and "1x" in x]
    assert "tpu" in result.output
    assert "linear elasticity" in lines[-1]


def test_only_what_passes_and_the_chosen_row_are_left_on_demand(gauge: Path) -> None:
    words = (gauge / "good/bracket.dxf", "--material", "acrylic", "--thickness", "3mm", "--format", "json")
    passing = json.loads(run(*words, "--passing").output)["rows"]
    assert all(x["passes"] or x["chosen"] for x in passing)
    # A bent bracket cannot be made of acrylic, but the chosen row stays to be held against.
    assert [(x["material"], x["passes"]) for x in passing if x["chosen"]] == [("acrylic", False)]
    assert any(x["material"] == "aluminium-5052-h32" and x["passes"] for x in passing)


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"no part")
    done = lintsvc("compare-materials", broken, cwd=tmp_path)
    assert done.returncode == 2
    assert "broken.stl" in done.stderr


@pytest.mark.parametrize(("option", "value"), [("--material", "unobtainium"), ("--thickness", "thick")])
def test_a_choice_that_is_none_is_refused_with_its_name(gauge: Path, option: str, value: str) -> None:
    result = run(gauge / "good/lid.stl", option, value)
    assert result.exit_code == 2
    assert option in result.output
