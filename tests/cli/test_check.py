"""`lintsvc check`: what it finds on the command line, what it prints, and how it ends."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from parts import reports
from parts.command import FINDS, lintsvc, lintsvc_anew, write_housing, write_rule

from lintsvc.commands.check import exit_status
from lintsvc.model.report import Report
from lintsvc.reports import json_report


def parts_of(text: str) -> list[dict[str, Any]]:
    report = json.loads(text)
    assert json_report.to_dict(json_report.from_dict(report)) == report
    parts: list[dict[str, Any]] = report["parts"]
    return parts


def rules_found(part: dict[str, Any]) -> set[str]:
    return {x["rule"] for x in part["findings"] if x["rule"].startswith("trial/")}


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A pack with an error, a warning and a note that are always found, in a folder beside the working one."""
    for level in ("error", "warning", "note"):
        write_rule(tmp_path / "trial", f"{level}-found", FINDS, level=level)
    (tmp_path / "here").mkdir()
    return tmp_path / "trial"


@pytest.fixture
def here(trial: Path) -> Path:
    """The working folder, with the housing in it."""
    write_housing(trial.parent / "here" / "housing.stl")
    return trial.parent / "here"


def test_sound_part_ends_with_nothing_to_object_to(here: Path) -> None:
    ran = lintsvc_anew("check", "housing.stl", cwd=here)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ran.stdout.startswith("housing.stl\n")
    assert "40 × 30 × 12 mm" in ran.stdout
    assert ran.stderr == ""


@pytest.mark.parametrize(
    ("level", "fail_on", "status"),
    [
        ("error", "error", 1),
        ("warning", "error", 0),
        ("warning", "warning", 1),
        ("note", "warning", 0),
        ("note", "note", 1),
        ("error", "never", 0),
    ],
)
def test_exit_status_is_by_the_least_level_that_fails(level: str, fail_on: str, status: int) -> None:
    report = Report((reports.housing_report(reports.thin_wall(level=level)),))
    assert exit_status(report, fail_on) == status


def test_finding_set_aside_does_not_fail() -> None:
    assert exit_status(Report((reports.housing_report(reports.thin_wall(set_aside="meant so")),)), "note") == 0


def test_unreadable_is_worse_than_a_finding_and_unfinished_worse_than_that() -> None:
    parts = (reports.housing_report(), reports.unreadable_report(), reports.bracket_report())
    # The bracket's entry has a rule that failed.
    assert [exit_status(Report(parts[:n]), "error") for n in range(4)] == [0, 1, 2, 3]
    assert exit_status(Report(parts[1:2]), "never") == 2


def test_error_found_ends_with_one_and_never_with_fail_on_never(here: Path, trial: Path) -> None:
    assert lintsvc("check", "housing.stl", "--rules", trial, cwd=here).returncode == 1
    assert lintsvc("check", "housing.stl", "--rules", trial, "--fail-on", "never", cwd=here).returncode == 0


def test_json_goes_to_standard_output_and_nothing_else_does(here: Path, trial: Path) -> None:
    ran = lintsvc("check", "housing.stl", "--rules", trial, "--format", "json", cwd=here)
    (part,) = parts_of(ran.stdout)
    assert ran.returncode == 1
    assert part["file"] == "housing.stl"
    assert part["part"]["size_mm"] == [40.0, 30.0, 12.0]
    assert part["part"]["triangles"] == 12
    assert rules_found(part) == {"trial/error-found", "trial/warning-found", "trial/note-found"}


def test_unreadable_file_ends_with_two_and_the_others_are_reported(here: Path) -> None:
    (here / "broken.stl").write_bytes((here / "housing.stl").read_bytes()[:200])
    ran = lintsvc("check", "broken.stl", "housing.stl", "--format", "json", cwd=here)
    broken, housing = parts_of(ran.stdout)
    assert ran.returncode == 2
    assert broken["unreadable"]["why"]
    assert housing["part"]["triangles"] == 12


@pytest.mark.parametrize("name", ["nothing-there.stl", "pipe.stl"])
def test_path_that_is_no_file_is_unreadable_and_does_not_hang(here: Path, name: str) -> None:
    os.mkfifo(here / "pipe.stl")
    ran = lintsvc("check", name, "housing.stl", "--format", "json", cwd=here)
    missing, housing = parts_of(ran.stdout)
    assert ran.returncode == 2
    assert missing["unreadable"]["why"].endswith(".")
    assert "unreadable" not in housing


def test_folder_gives_its_part_files_in_order_and_passes_over_the_rest(here: Path) -> None:
    write_housing(here / "b" / "two.STL")
    write_housing(here / "a" / "one.stl")
    write_housing(here / ".hidden" / "three.stl")
    (here / "a" / "notes.txt").write_text("no part")
    ran = lintsvc("check", ".", "--format", "json", cwd=here)
    assert [x["file"] for x in parts_of(ran.stdout)] == ["housing.stl", "a/one.stl", "b/two.STL"]


def test_file_named_twice_is_checked_once(here: Path) -> None:
    ran = lintsvc("check", "housing.stl", "./housing.stl", ".", "--format", "json", cwd=here)
    assert len(parts_of(ran.stdout)) == 1


def test_folder_without_part_files_is_bad_usage(here: Path) -> None:
    (here / "empty").mkdir()
    ran = lintsvc("check", "empty", cwd=here)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "there are no part files in empty" in ran.stderr


def test_choices_reach_the_report(here: Path) -> None:
    ran = lintsvc("check", "housing.stl", "--material", "pa11", "--units", "in", "--format", "json", cwd=here)
    (part,) = parts_of(ran.stdout)
    assert part["material"] == "pa11"
    assert part["part"]["units"]["value"] == "in"
    assert part["part"]["size_mm"] == pytest.approx([1016.0, 762.0, 304.8])


@pytest.mark.parametrize(("meant", "off"), [("80x50x30.4mm", False), ("80x50x30.6mm", True)])
def test_finished_size_that_is_meant_is_held_against_the_flat(tmp_path: Path, meant: str, off: bool) -> None:
    channel = Path(__file__).parents[2] / "rules/bend/fixtures/size_after_bending/channel_80.dxf"
    said = ("--material", "aluminium-5052-h32", "--thickness", "2mm", "--format", "json", "--finished-size", meant)
    (part,) = parts_of(lintsvc("check", channel, *said, cwd=tmp_path).stdout)
    assert ("bend/size-after-bending" in [x["rule"] for x in part["findings"]]) is off


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--process", "milling"], "powder-bed, sheet"),
        (["--material", "aluminium-5052"], "aluminium-5052-h32"),
        (["--thickness", "two"], "2mm or 0.08in"),
        (["--thickness", "16ga"], "name the material too"),
        (["--thickness", "16ga", "--material", "brass"], "no gauges are known for Brass"),
        (["--thickness", "2ga", "--material", "steel-mild"], "it has 3 to 22"),
        (["--k-factor", "4"], "between 0 and 1"),
        (["--finished-size", "12x3"], "write it like 40x30x12mm"),
        (["--format", "pdf"], "'json'"),
        (["--fail-on", "fatal"], "'never'"),
        (["--thicknes", "2mm"], "--thickness"),
        (["--rules", "no-such-folder"], "no rule pack"),
        (["--output", "no-such-folder/report.txt"], "not there"),
        (["--output", "."], "folder"),
    ],
)
def test_bad_usage_ends_with_two_and_names_the_valid_words(here: Path, arguments: list[str], words: str) -> None:
    ran = lintsvc("check", "housing.stl", *arguments, cwd=here)
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert words in ran.stderr
    assert "Traceback" not in ran.stderr


def test_wrong_rule_file_is_bad_usage_and_named(here: Path) -> None:
    pack = write_rule(here / "wrong", "wrong", FINDS)
    (pack / "wrong.py").write_text("this is no Python", "utf-8")
    ran = lintsvc("check", "housing.stl", "--rules", "wrong", cwd=here)
    assert ran.returncode == 2
    assert "wrong.py" in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize("form", ["text", "json", "sarif", "junit", "html"])
def test_output_file_gets_what_standard_output_would(here: Path, form: str) -> None:
    ran = lintsvc("check", "housing.stl", "--format", form, "--output", "report", cwd=here)
    assert (ran.returncode, ran.stdout) == (0, "")
    text = (here / "report").read_text("utf-8")
    start = {"text": "housing.stl", "json": "{", "sarif": "{", "junit": "<?xml", "html": "<!doctype html>"}
    assert text.startswith(start[form])
    assert "housing.stl" in text


def test_sarif_says_what_the_built_in_rules_are(here: Path, trial: Path) -> None:
    ran = lintsvc("check", "housing.stl", "--rules", trial, "--format", "sarif", cwd=here)
    (run,) = json.loads(ran.stdout)["runs"]
    described = {x["id"]: x for x in run["tool"]["driver"]["rules"]}
    assert described["trial/error-found"]["shortDescription"]["text"] == "Trial."


def test_html_shows_the_part_and_its_findings_close_up(here: Path, trial: Path) -> None:
    ran = lintsvc("check", "housing.stl", "--rules", trial, "--format", "html", cwd=here)
    found = ran.stdout.count('<p class="message">')
    assert found
    # The trial rule's finding has no place.
    assert ran.stdout.count('<figure class="close">') == found - 1
    assert ran.stdout.count("data:image/png;base64,") == found


def test_highlights_are_written_under_safe_names(here: Path, trial: Path) -> None:
    write_housing(here / "sub" / "housing.stl")
    ran = lintsvc("check", ".", "--rules", trial, "--highlights", "new/lit", cwd=here)
    assert ran.returncode == 1
    written = sorted(x.name for x in (here / "new" / "lit").iterdir())
    assert written == ["housing.stl.highlights.glb", "sub-housing.stl.highlights.glb"]


def test_highlights_that_cannot_be_written_end_with_three(here: Path) -> None:
    target = here / "lit" / "housing.stl.highlights.glb"
    target.mkdir(parents=True)
    ran = lintsvc("check", "housing.stl", "--highlights", "lit", cwd=here)
    assert ran.returncode == 3
    assert "could not write" in ran.stderr
    assert ran.stdout.startswith("housing.stl")


def test_name_that_is_no_text_and_name_with_escapes_are_shown_safely(here: Path) -> None:
    body = (here / "housing.stl").read_bytes()
    Path(os.fsdecode(os.fsencode(here) + b"/latin-\xe9.stl")).write_bytes(body)
    (here / "esc\x1b[31m.stl").write_bytes(body)
    for form in ("text", "json", "sarif", "junit", "html"):
        ran = lintsvc("check", ".", "--format", form, cwd=here)
        assert ran.returncode == 0, ran.stderr
        assert "\x1b" not in ran.stdout
        assert form != "json" or len(parts_of(ran.stdout)) == 3


def test_terminal_that_lacks_a_sign_gets_an_escape_and_no_error(here: Path) -> None:
    ran = lintsvc("check", "housing.stl", cwd=here, PYTHONIOENCODING="koi8-r")
    assert ran.returncode == 0, ran.stderr
    assert r"40 \xd7 30" in ran.stdout
