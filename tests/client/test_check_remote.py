"""`lintsvc check --server`: the same reports and the same exit status as without a service."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from parts.command import FINDS, lintsvc, write_rule
from parts.service_parts import box_stl, open_box_stl, plate_dxf
from recipes.shop import break_box, environment, recipes, shop, tools
from service.running import Running

__all__ = ["recipes", "shop", "tools"]


@pytest.fixture
def parts(tmp_path: Path) -> Path:
    """A repository: a plate with a small hole, a sound box, an open one, and what lintsvc.toml says of them."""
    (tmp_path / "flat").mkdir()
    (tmp_path / "flat/plate.dxf").write_bytes(plate_dxf(hole=1.5))
    (tmp_path / "box.stl").write_bytes(box_stl(20, 20, 20))
    (tmp_path / "open.stl").write_bytes(open_box_stl())
    (tmp_path / "shop.toml").write_text('[[measured]]\nwhat = "hole"\nprocess = "sheet"\noffset = -0.1\n')
    (tmp_path / "lintsvc.toml").write_text(
        'shop = "shop.toml"\n'
        '[[parts]]\nfiles = ["flat/*.dxf"]\nmaterial = "steel-mild"\nthickness = "2mm"\n\n'
        '[[parts]]\nfiles = ["*.stl"]\nmaterial = "pa12"\n\n'
        '[limits]\n"sheet/hole-too-small" = "1.9mm"\n\n'
        '[levels]\n"soundness/*" = "warning"\n"sheet/thickness-not-stocked" = "off"\n'
    )
    return tmp_path


def remote(running: Running, *arguments: str, cwd: Path, token: str = "") -> subprocess.CompletedProcess[str]:
    return lintsvc(
        *arguments, "--server", f"http://127.0.0.1:{running.port}", cwd=cwd, LINTSVC_TOKEN=token or running.token
    )


def steady(report: str) -> Any:
    """A JSON report without its times."""
    data = json.loads(report)
    for part in data["parts"]:
        del part["seconds"]
    return data


def test_report_and_status_are_those_of_a_local_check(guarded: Running, parts: Path) -> None:
    for fail_on in ("error", "warning", "never"):
        here = lintsvc("check", ".", "--format", "json", "--fail-on", fail_on, cwd=parts)
        there = remote(guarded, "check", ".", "--format", "json", "--fail-on", fail_on, cwd=parts)
        assert there.stderr == here.stderr == ""
        assert there.returncode == here.returncode == (1 if fail_on == "warning" else 0)
        assert steady(there.stdout) == steady(here.stdout)
    rules = {x["rule"]: x for part in steady(here.stdout)["parts"] for x in part["findings"]}
    assert rules["sheet/hole-too-small"]["limit"]["source"]["text"].endswith("lintsvc.toml, line 12")
    assert {"holes"} <= {x["what"] for part in steady(there.stdout)["parts"] for x in part["assumed"]}
    assert rules["soundness/open-edge"]["level"] == "warning"


@pytest.mark.parametrize("form", ["text", "sarif", "junit", "markdown", "html"])
def test_other_reports_are_those_of_a_local_check(guarded: Running, parts: Path, form: str) -> None:
    pictures = ["--highlights", "lit"] if form in ("markdown", "html") else []
    here = lintsvc("check", "flat", "open.stl", "--format", form, *pictures, cwd=parts)
    lit = {x.name: x.read_bytes() for x in parts.glob("lit/*")}
    there = remote(guarded, "check", "flat", "open.stl", "--format", form, *pictures, cwd=parts)
    assert there.returncode == here.returncode
    timed = 'time="'
    assert there.stdout.split(timed)[0] == here.stdout.split(timed)[0]
    assert len(there.stdout) == pytest.approx(len(here.stdout), abs=40)
    assert here.stdout.count('<figure class="close">') == (1 if form == "html" else 0)
    again = {x.name: x.read_bytes() for x in parts.glob("lit/*")}
    assert lit.keys() == again.keys()
    if pictures:
        assert {"flat-plate.dxf.highlights.svg", "open.stl.highlights.glb"} <= lit.keys()


def test_only_what_the_service_does_not_have_is_uploaded(guarded: Running, tmp_path: Path) -> None:
    for n in range(3):
        (tmp_path / f"{n}.stl").write_bytes(box_stl(31, 17, 20, seed=n))
    first = remote(guarded, "check", ".", "--format", "json", cwd=tmp_path)
    (tmp_path / "3.stl").write_bytes(box_stl(31, 17, 20, seed=3))
    # A file of the same bytes under another name is known too.
    (tmp_path / "4.stl").write_bytes((tmp_path / "0.stl").read_bytes())
    before = _sent(guarded)
    second = remote(guarded, "check", ".", "--format", "json", cwd=tmp_path)
    names = [x["file"] for x in json.loads(second.stdout)["parts"]]
    assert names == ["0.stl", "1.stl", "2.stl", "3.stl", "4.stl"]
    assert steady(first.stdout)["parts"] == steady(second.stdout)["parts"][:3]
    assert _sent(guarded) - before == 1


def _sent(running: Running) -> int:
    """How many different files the service keeps."""
    return sum(1 for x in (running.state / "blobs").rglob("*") if x.is_file() and "file" in x.parts[len(
        running.state.parts) + 1 :][0])  # fmt: skip


def test_rules_that_only_the_repository_has_are_not_checked_and_never_passed(guarded: Running, parts: Path) -> None:
    write_rule(parts / "lint-rules/trial", "always", FINDS)
    done = remote(guarded, "check", "box.stl", "--format", "json", cwd=parts)
    (part,) = json.loads(done.stdout)["parts"]
    assert {"rule": "trial/always", "why": "the service does not have this rule"} in part["not_checked"]
    assert "trial/always" not in part["checked"]
    assert done.returncode == 0


def test_file_that_is_not_there_is_told_as_without_a_service(guarded: Running, parts: Path) -> None:
    here = lintsvc("check", "no.stl", "box.stl", "--format", "json", cwd=parts)
    there = remote(guarded, "check", "no.stl", "box.stl", "--format", "json", cwd=parts)
    assert here.returncode == there.returncode == 2
    assert steady(there.stdout) == steady(here.stdout)


def test_wrong_token_wrong_address_and_absent_service_end_in_one_clear_line(guarded: Running, parts: Path) -> None:
    token = remote(guarded, "check", "box.stl", cwd=parts, token="wrong")
    assert token.returncode == 2
    assert "LINTSVC_TOKEN" in token.stderr and "wrong" not in token.stderr
    address = lintsvc("check", "box.stl", "--server", "somewhere", cwd=parts)
    assert address.returncode == 2 and "http://" in address.stderr
    away = lintsvc("check", "box.stl", "--server", "http://127.0.0.1:9", cwd=parts)
    assert away.returncode == 3 and "cannot be reached" in away.stderr
    assert "Traceback" not in token.stderr + address.stderr + away.stderr


def test_findings_set_aside_and_a_baseline_hold_for_remote_checks(guarded: Running, parts: Path) -> None:
    remote(guarded, "check", ".", "--format", "json", "--output", "baseline.json", cwd=parts)
    done = remote(guarded, "check", ".", "--baseline", "baseline.json", "--fail-on", "note", cwd=parts)
    assert (done.returncode, done.stderr) == (0, "")


def test_remote_recipe_checks_at_a_service(guarded: Running, recipes: Path, shop: Path, tools: Path) -> None:
    script = str(recipes / "remote.sh")

    def recipe(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
        made = environment(tools, **env)
        return subprocess.run([script, *words], cwd=shop, env=made, capture_output=True, text=True, check=False)

    lost = recipe()
    assert lost.returncode != 0 and "LINTSVC_SERVER" in lost.stderr
    there = {"LINTSVC_SERVER": f"http://127.0.0.1:{guarded.port}", "LINTSVC_TOKEN": guarded.token}
    good = recipe(**there)
    assert good.returncode == 0, good.stderr
    break_box(shop)
    bad = recipe("--format", "json", **there)
    assert bad.returncode == 1, bad.stderr
    assert "soundness/open-edge" in bad.stdout
