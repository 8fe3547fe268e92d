"""The smaller commands, and the command itself."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from parts.command import FINDS, lintsvc, lintsvc_anew, write_housing, write_rule

from lintsvc import __version__
from lintsvc.cli import COMMANDS, command
from lintsvc.handbook.materials import materials
from lintsvc.rulebook.packs import load_packs


def test_help_lists_every_command_with_its_own_first_line(tmp_path: Path) -> None:
    ran = lintsvc_anew("--help", cwd=tmp_path)
    assert ran.returncode == 0
    for name, (_, line) in COMMANDS.items():
        assert f"{name} " in ran.stdout
        assert line in ran.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_of_its_own(tmp_path: Path, name: str) -> None:
    ran = lintsvc_anew(name, "--help", cwd=tmp_path)
    assert ran.returncode == 0
    assert f"Usage: lintsvc {name}" in ran.stdout
    found = command(name)
    undocumented = [x.name for x in found.params if x.param_type_name == "option" and not getattr(x, "help", None)]
    assert undocumented == []


def test_help_loads_no_library_of_geometry_or_of_the_web() -> None:
    heavy = {"click", "numpy", "numba", "pydantic", "flask", "ezdxf", "trimesh", "rich"}
    code = f"""
import sys, lintsvc.cli
from contextlib import suppress
with suppress(SystemExit):
    lintsvc.cli.main(["--help"])
sys.exit(", ".join({heavy} & set(sys.modules)) or 0)
"""
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr


def test_no_command_shows_the_help_and_is_bad_usage(tmp_path: Path) -> None:
    ran = lintsvc(cwd=tmp_path)
    assert ran.returncode == 2
    assert "Commands:" in ran.stderr


def test_unknown_command_names_the_close_one(tmp_path: Path) -> None:
    ran = lintsvc("chekc", cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "did you mean check?" in ran.stderr


def test_version_is_the_packages(tmp_path: Path) -> None:
    assert lintsvc("--version", cwd=tmp_path).stdout == f"lintsvc {__version__}\n"


def test_rules_lists_every_rule(tmp_path: Path) -> None:
    known = [rule.id for pack in load_packs() for rule in pack.rules]
    lines = lintsvc_anew("rules", cwd=tmp_path).stdout.splitlines()
    assert [x.split()[0] for x in lines[1:]] == known
    assert [x["id"] for x in json.loads(lintsvc("rules", "--format", "json", cwd=tmp_path).stdout)] == known
    assert lintsvc("rules", "--format", "markdown", cwd=tmp_path).stdout.splitlines()[1].startswith("| ---")


def test_explain_takes_the_id_or_its_last_part(tmp_path: Path) -> None:
    pack = write_rule(tmp_path / "trial", "found", FINDS)
    by_id = lintsvc_anew("explain", "trial/found", "--rules", pack, cwd=tmp_path)
    assert by_id.returncode == 0
    assert by_id.stdout.startswith("trial/found\nTrial.\n")
    assert lintsvc("explain", "found", "--rules", pack, cwd=tmp_path).stdout == by_id.stdout
    markdown = lintsvc("explain", "found", "--rules", pack, "--format", "markdown", cwd=tmp_path)
    assert markdown.stdout.startswith("# `trial/found`\n")


def test_explain_of_an_unknown_rule_names_close_ones(tmp_path: Path) -> None:
    pack = write_rule(tmp_path / "trial", "found", FINDS)
    ran = lintsvc("explain", "trial/fuond", "--rules", pack, cwd=tmp_path)
    assert ran.returncode == 2
    assert "trial/found" in ran.stderr


def test_materials_lists_the_handbook(tmp_path: Path) -> None:
    ids = [x.id for x in materials()]
    lines = lintsvc_anew("materials", cwd=tmp_path).stdout.splitlines()
    assert [x.split()[0] for x in lines[1:]] == ids
    only = json.loads(lintsvc("materials", "--process", "powder-bed", "--format", "json", cwd=tmp_path).stdout)
    assert [x["id"] for x in only] == [x.id for x in materials() if "powder-bed" in x.processes]
    assert all(x["density_kg_m3"]["source"]["text"] for x in only)


def test_schema_is_a_json_schema(tmp_path: Path) -> None:
    schema = json.loads(lintsvc_anew("schema", cwd=tmp_path).stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["properties"].keys() == {"parts", "schema", "made_by", "order"}


def test_mend_turns_a_body_that_is_inside_out(tmp_path: Path) -> None:
    source = write_housing(tmp_path / "good.stl")
    turned = bytearray(source.read_bytes())
    for at in range(84, len(turned), 50):
        second, third = turned[at + 24 : at + 36], turned[at + 36 : at + 48]
        turned[at + 24 : at + 36], turned[at + 36 : at + 48] = third, second
    (tmp_path / "inside-out.stl").write_bytes(turned)
    ran = lintsvc_anew("mend", "inside-out.stl", "mended.stl", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    assert "Turned 1 shell" in ran.stdout
    checked = lintsvc("check", "mended.stl", "--format", "json", cwd=tmp_path)
    assert json.loads(checked.stdout)["parts"][0]["part"]["volume_mm3"] == pytest.approx(14_400)


def test_mend_never_writes_over_a_file_and_says_so(tmp_path: Path) -> None:
    write_housing(tmp_path / "good.stl")
    (tmp_path / "there.stl").write_text("mine")
    ran = lintsvc("mend", "good.stl", "there.stl", cwd=tmp_path)
    assert ran.returncode == 1
    assert "there already" in ran.stderr
    assert (tmp_path / "there.stl").read_text() == "mine"


def test_mend_of_a_sound_body_writes_nothing(tmp_path: Path) -> None:
    write_housing(tmp_path / "good.stl")
    ran = lintsvc("mend", "good.stl", "new.stl", cwd=tmp_path)
    assert (ran.returncode, (tmp_path / "new.stl").exists()) == (0, False)
    assert "nothing to mend" in ran.stdout


def test_mend_of_what_cannot_be_read_ends_with_two(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.stl")
    for name in ("pipe.stl", "nothing.stl"):
        ran = lintsvc("mend", name, "new.stl", cwd=tmp_path)
        assert ran.returncode == 2
        assert ran.stderr.startswith(f"{name}: ")
