"""What is found in the real meshes of the open corpus stays as it was when each finding was held by other means."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from lintsvc.model.choices import Choices
from lintsvc.model.report import Report
from lintsvc.reports import json_report
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

HERE = Path(__file__).parents[1]
FILES: list[dict[str, Any]] = tomllib.loads((HERE / "parts" / "real_meshes.toml").read_text("utf-8"))["file"]
RULES = [x for pack in load_packs() for x in pack.rules]
FOLDERS = ("stl", "obj", "ply", "glb", "3mf")
CHOICES = Choices(process="powder-bed", material="pa12")
#: Room for the first value of a rule, as a share of it: what the steps of sampling and corrections for facets move.
VALUE = 0.03


def count_of(file: dict[str, Any]) -> int:
    return sum(x[2] for x in file.get("findings", []))


@pytest.mark.needs_shared
@pytest.mark.parametrize("file", FILES, ids=lambda x: x["path"])
def test_findings_are_those_that_were_held(shared: Path, file: dict[str, Any]) -> None:
    report = check_file(shared / "corpus" / "open" / file["path"], CHOICES, RULES).report
    (part,) = json_report.to_dict(Report((report,)))["parts"]
    if "unreadable" in file:
        assert part["unreadable"]["why"] == file["unreadable"]
        return
    doubtful = set(file.get("doubtful", []))
    counts = Counter((x["rule"], x["level"]) for x in part["findings"])
    pinned = {(rule, level): count for rule, level, count, _ in file["findings"]}
    sure = {x: n for x, n in counts.items() if x[0] not in doubtful}
    assert sure == {x: n for x, n in pinned.items() if x[0] not in doubtful}
    assert all(n <= pinned.get(x, 0) for x, n in counts.items())
    for rule, level, _, value in file["findings"]:
        first = next((x for x in part["findings"] if (x["rule"], x["level"]) == (rule, level)), None)
        if first is not None and rule not in doubtful and value != "":
            assert first["measured"]["value"] == pytest.approx(value, rel=VALUE), rule
    assert sorted({x["rule"] for x in part["not_checked"]}) == file.get("not_checked", [])


@pytest.mark.needs_shared
def test_no_real_mesh_is_left_out(shared: Path) -> None:
    there = {f"{x}/{y.name}" for x in FOLDERS for y in (shared / "corpus" / "open" / x).iterdir()}
    assert there == {x["path"] for x in FILES}


def test_the_page_tells_of_every_mesh_and_as_many_findings() -> None:
    page = (HERE.parent / "docs" / "real-meshes.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `([^`]+)` \| (\d+) \|", page, re.MULTILINE))
    assert {name: int(count) for name, count in rows.items()} == {
        x["path"]: count_of(x) for x in FILES if "unreadable" not in x
    }
    assert all(f"`{x['path']}`" in page for x in FILES)
