"""`lintsvc compare-materials`: the table as text and as JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from parts import bent_solids
from parts.command import lintsvc_anew, write_housing

from lintsvc.commands.compare_materials import compare_materials


@pytest.fixture
def housing(tmp_path: Path) -> Path:
    return write_housing(tmp_path / "housing.stl")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(compare_materials, [str(x) for x in words])


def test_a_body_has_a_line_for_each_printed_material(housing: Path) -> None:
    result = run(housing)
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0].split() == ["material", "thickness", "result", "mass", "stiffness", "worst"]
    assert [x for x in lines if x.startswith("→") and "pa12" in x and "1x" in x]
    assert "tpu" in result.output
    assert "linear elasticity" in lines[-1]


def test_only_what_passes_and_the_chosen_row_are_left_on_demand(tmp_path: Path) -> None:
    angle = next(x for x in bent_solids.PARTS if x.name == "angle")
    bent_solids.written(angle.make(), tmp_path / "angle.step")
    words = (tmp_path / "angle.step", "--material", "acrylic", "--format", "json")
    rows, passing = (json.loads(run(*words, *more).output)["rows"] for more in ((), ("--passing",)))
    # A bent part cannot be made of acrylic, but the chosen row stays to be held against.
    assert [(x["material"], x["passes"]) for x in passing if x["chosen"]] == [("acrylic", False)]
    assert any(x["material"] == "aluminium-5052-h32" and x["passes"] for x in passing)
    assert passing == [x for x in rows if x["passes"] or x["chosen"]]
    assert len(passing) < len(rows)


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"no part")
    done = lintsvc_anew("compare-materials", broken, cwd=tmp_path)
    assert done.returncode == 2
    assert "broken.stl" in done.stderr


@pytest.mark.parametrize(("option", "value"), [("--material", "unobtainium"), ("--thickness", "thick")])
def test_a_choice_that_is_none_is_refused_with_its_name(housing: Path, option: str, value: str) -> None:
    result = run(housing, option, value)
    assert result.exit_code == 2
    assert option in result.output
