"""Every finding in the real drawings and solids of the open corpus stays as it was when it was held by other means."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from parts.real_findings import RealFile, pins_of, real_files, unlike

from lintsvc.model.choices import Choices
from lintsvc.model.report import Report
from lintsvc.reports import json_report
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

RULES = [x for pack in load_packs() for x in pack.rules]
FOLDERS = ("step", "dxf", "svg")
#: An assembly that names the files of its parts and holds no shape.
WITHOUT_SHAPE = "step/FOOT.stp"


@pytest.mark.needs_shared
@pytest.mark.parametrize("file", real_files(), ids=lambda x: x.path)
def test_findings_are_those_that_were_held(shared: Path, file: RealFile) -> None:
    report = check_file(shared / "corpus" / "open" / file.path, Choices(**file.choices), RULES).report
    (part,) = json_report.to_dict(Report((report,)))["parts"]
    new, gone = unlike(pins_of(part), file.findings)
    assert (new, gone) == ([], [])
    assert sorted({x["rule"] for x in part["not_checked"]}) == file.not_checked
    told = " ".join([*report.notes, *(x.why for x in report.assumed)])
    assert file.no_sheet_because in told
    assert bool(file.no_sheet_because) == ("ot a sheet part" in told)


@pytest.mark.needs_shared
def test_no_real_file_is_left_out(shared: Path) -> None:
    there = {f"{x}/{y.name}" for x in FOLDERS for y in (shared / "corpus" / "open" / x).iterdir()}
    assert there == {x.path for x in real_files()} | {WITHOUT_SHAPE}


def test_the_page_tells_of_every_file_and_as_many_findings() -> None:
    page = (Path(__file__).parents[2] / "docs" / "real-drawings.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `([^`]+)` \| [^|]* \| (\d+) \|", page, re.MULTILINE))
    assert {name: int(count) for name, count in rows.items()} == {x.path: len(x.findings) for x in real_files()}


def test_a_finding_that_moved_or_changed_is_seen() -> None:
    pinned = [("sheet/web-too-thin", "warning", 2.7, (11.35, 27.8, 0.0))]
    assert unlike([("sheet/web-too-thin", "warning", 2.701, (11.3, 27.8, 0.0))], pinned) == ([], [])
    for other in (
        ("sheet/web-too-thin", "warning", 2.8, (11.35, 27.8, 0.0)),
        ("sheet/web-too-thin", "warning", 2.7, (13.35, 27.8, 0.0)),
        ("sheet/web-too-thin", "note", 2.7, (11.35, 27.8, 0.0)),
    ):
        assert unlike([other], pinned) == ([other], pinned)
    assert unlike([], pinned) == ([], pinned)
    assert unlike(pinned * 2, pinned) == (pinned, [])
