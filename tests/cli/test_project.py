"""A repository of part files: init, check, set aside, baseline, a planted fault, compare; with a real git."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest
from parts.command import FINDS, lintsvc, lintsvc_anew, write_housing, write_rule

from lintsvc.commands.init import config_text
from lintsvc.project.config import parse_config


def git(folder: Path, *arguments: str) -> None:
    names = {f"GIT_{role}_{what}": "test@invalid" for role in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    alone = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull}
    subprocess.run(["git", *arguments], cwd=folder, check=True, capture_output=True, env=os.environ | names | alone)


def write_config(folder: Path, text: str) -> None:
    (folder / "lintsvc.toml").write_text(text, "utf-8")


def report_of(folder: Path, *arguments: str | Path) -> tuple[int, list[dict[str, Any]], str]:
    ran = lintsvc("check", *arguments, "--format", "json", cwd=folder)
    return ran.returncode, json.loads(ran.stdout)["parts"], ran.stderr


def trial(parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [x for part in parts for x in part["findings"] if x["rule"] == "trial/found"]


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """A repository with the housing, and a pack of its own that finds an error in every part."""
    top = tmp_path / "top"
    write_housing(top / "prints" / "housing.stl")
    write_rule(top / "lint-rules" / "trial", "found", FINDS)
    write_config(top, '[[parts]]\nfiles = "prints/*.stl"\nmaterial = "pa11"\n')
    (top / ".gitignore").write_text(".cache/\n")
    git(top, "init", "-q", "-b", "main")
    git(top, "add", ".")
    git(top, "commit", "-q", "-m", "first")
    return top


def test_config_gives_material_and_the_repositorys_own_rules(repository: Path) -> None:
    status, (part,), _ = report_of(repository, ".")
    assert (status, part["file"], part["material"]) == (1, "prints/housing.stl", "pa11")
    assert len(trial([part])) == 1


def test_option_wins_over_the_config(repository: Path) -> None:
    assert report_of(repository, ".", "--material", "tpu")[1][0]["material"] == "tpu"


def test_file_that_no_entry_names_is_told_and_not_checked_unless_named(repository: Path) -> None:
    write_housing(repository / "other" / "lid.stl")
    _, parts, remark = report_of(repository, ".")
    assert [x["file"] for x in parts] == ["prints/housing.stl"]
    assert "1 part file not checked, no entry of lintsvc.toml names them: other/lid.stl" in remark
    assert [x["file"] for x in report_of(repository, "other/lid.stl")[1]] == ["other/lid.stl"]


def test_config_changes_levels_and_what_fails(repository: Path) -> None:
    entry = '[[parts]]\nfiles = "*.stl"\n'
    write_config(repository, entry + '[levels]\n"trial/found" = "warning"\n')
    assert report_of(repository, ".")[0] == 0
    write_config(repository, 'fail_on = "warning"\n' + entry + '[levels]\n"trial/found" = "warning"\n')
    assert report_of(repository, ".")[0] == 1
    assert report_of(repository, ".", "--fail-on", "never")[0] == 0
    write_config(repository, entry + '[levels]\n"trial/found" = "off"\n')
    status, (part,), _ = report_of(repository, ".")
    assert status == 0
    assert {"rule": "trial/found", "why": "switched off: lintsvc.toml, line 4"} in part["not_checked"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[levels]\n"trial/fuond" = "off"\n', "line 2: there is no rule 'trial/fuond'; close ones are trial/found"),
        ('[[parts]]\nfiles = "*.stl"\nmaterial = "pa13"\n', "'pa13'"),
        ("[[part]]\n", "did you mean 'parts'?"),
    ],
)
def test_mistake_in_the_config_is_bad_usage(repository: Path, text: str, words: str) -> None:
    write_config(repository, text)
    ran = lintsvc("check", "prints", cwd=repository)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert words in ran.stderr
    assert "Traceback" not in ran.stderr


def test_finding_is_set_aside_by_command_and_counts_again_when_the_file_says_so_no_more(repository: Path) -> None:
    (found,) = trial(report_of(repository, ".")[1])
    decided = lintsvc_anew(
        "set-aside", "prints/housing.stl", found["fingerprint"], "--reason", "meant so", "--author", "A. Name",
        cwd=repository,
    )  # fmt: skip
    assert decided.returncode == 0, decided.stderr
    status, parts, _ = report_of(repository, ".")
    assert status == 0
    assert trial(parts)[0]["set_aside"] == "meant so (A. Name)"
    (repository / "lintsvc-set-aside.toml").unlink()
    assert report_of(repository, ".")[0] == 1


def test_what_is_not_found_cannot_be_set_aside(repository: Path) -> None:
    arguments = ("set-aside", "prints/housing.stl", "0" * 16, "--reason", "x", "--author", "y")
    ran = lintsvc(*arguments, cwd=repository)
    assert ran.returncode == 2
    assert "(trial/found)" in ran.stderr
    assert not (repository / "lintsvc-set-aside.toml").exists()


def test_only_new_findings_fail_against_a_baseline(repository: Path) -> None:
    lintsvc("check", ".", "--format", "json", "--output", "baseline.json", cwd=repository)
    assert report_of(repository, ".", "--baseline", "baseline.json")[0] == 0
    write_rule(repository / "lint-rules" / "trial", "new", FINDS)
    status, (part,), _ = report_of(repository, ".", "--baseline", "baseline.json")
    assert status == 1
    assert [x["rule"] for x in part["findings"] if x["rule"].startswith("trial/") and "set_aside" not in x] == [
        "trial/new"
    ]


def test_only_what_changed_since_a_commit_is_checked(repository: Path) -> None:
    assert report_of(repository, ".", "--changed-since", "HEAD")[1] == []
    write_housing(repository / "prints" / "lid.stl")
    assert [x["file"] for x in report_of(repository, ".", "--changed-since", "HEAD")[1]] == ["prints/lid.stl"]
    ran = lintsvc("check", ".", "--changed-since", "no-such", cwd=repository)
    assert ran.returncode == 2
    assert "git" in ran.stderr


def test_unchanged_file_comes_from_the_cache_and_a_changed_rule_is_run(repository: Path) -> None:
    ran = repository / "ran"
    count = f"open({str(ran)!r}, 'a').write('x')"
    write_rule(repository / "lint-rules" / "trial", "counts", count)
    for arguments in ((".",), (".",), (".", "--no-cache")):
        report_of(repository, *arguments)
    assert ran.read_text() == "xx"
    write_rule(repository / "lint-rules" / "trial", "counts", count + "\n# changed")
    report_of(repository, ".")
    assert ran.read_text() == "xxx"


def test_compare_tells_a_planted_fault_between_commits(repository: Path) -> None:
    # Only the built-in rules: the trial's finding has its place by the middle of the part, which a fault moves.
    git(repository, "rm", "-q", "-r", "lint-rules")
    git(repository, "commit", "-q", "-m", "second")
    part = repository / "prints" / "housing.stl"
    data = part.read_bytes()
    # One triangle less: an open edge.
    part.write_bytes(data[:80] + (11).to_bytes(4, "little") + data[84:-50])
    ran = lintsvc_anew("compare", "HEAD", ".", cwd=repository)
    assert ran.returncode == 1, ran.stdout + ran.stderr
    assert "prints/housing.stl" in ran.stdout
    assert "watertight: yes → no" in ran.stdout
    assert "new   error soundness/open-edge" in ran.stdout
    back = lintsvc("compare", ".", "HEAD", cwd=repository)
    assert back.returncode == 0
    assert "gone  error soundness/open-edge" in back.stdout


def test_compare_takes_reports_and_files(repository: Path) -> None:
    lintsvc("check", ".", "--format", "json", "--output", "old.json", cwd=repository)
    same = lintsvc("compare", "old.json", ".", cwd=repository)
    assert (same.returncode, same.stdout) == (0, "0 findings new, 0 gone; 1 file unchanged\n")
    copy = write_housing(repository / "copy.stl")
    files = lintsvc("compare", "prints/housing.stl", copy, "--format", "json", cwd=repository)
    (part,) = json.loads(files.stdout)["parts"]
    assert part["same_content"] is True


def test_compare_of_what_is_nothing_is_bad_usage(repository: Path) -> None:
    for named in ("no-such-thing", "--upload-pack=x"):
        ran = lintsvc("compare", "--", named, ".", cwd=repository)
        assert ran.returncode == 2
        assert "is no report, file, folder or commit" in ran.stderr


def test_init_writes_what_check_then_reads(tmp_path: Path) -> None:
    write_housing(tmp_path / "prints" / "housing.stl")
    write_housing(tmp_path / "prints" / "lid [v2].stl")
    ran = lintsvc_anew("init", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    _, parts, remark = report_of(tmp_path, ".")
    assert [x["file"] for x in parts] == ["prints/housing.stl", "prints/lid [v2].stl"]
    assert remark == ""
    again = lintsvc("init", cwd=tmp_path)
    assert again.returncode == 2
    assert "is there already" in again.stderr


def test_init_takes_a_thickness_from_a_name_only_where_there_is_one() -> None:
    names = ["a/mast_2.5mm.dxf", "3mm/plate.dxf", "3mm/4mm or 5mm.dxf", "b/m4.dxf", "b/0.125in.svg", "c/10mm.stl"]
    text = config_text([Path(x) for x in names])  # type: ignore[list-item]
    config = parse_config(text, Path("lintsvc.toml"))
    thickness = {x: e.words.get("thickness") for e in config.entries for x in names if e.covers(x)}
    assert thickness == {
        "a/mast_2.5mm.dxf": "2.5mm",
        "3mm/plate.dxf": "3mm",
        "3mm/4mm or 5mm.dxf": None,
        "b/m4.dxf": None,
        "b/0.125in.svg": "0.125in",
        "c/10mm.stl": None,
    }


def test_markdown_summary_shows_pictures_beside_the_highlights(repository: Path) -> None:
    arguments = ("check", ".", "--format", "markdown", "--highlights", "lit", "--output", "lit/summary.md")
    lintsvc("check", ".", "--highlights", "lit", cwd=repository)
    ran = lintsvc(*arguments, cwd=repository)
    assert ran.returncode == 1, ran.stderr
    assert "![prints/housing.stl](prints-housing.stl.picture.svg)" in (repository / "lit" / "summary.md").read_text(
        "utf-8"
    )
    assert (repository / "lit" / "prints-housing.stl.picture.svg").read_text("utf-8").startswith("<svg")
