"""Every rule finds its fault in its bad fixtures, at the place and value stated, and nothing in its good ones."""

from __future__ import annotations

import math
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

from lintsvc.model.choices import Choices, CountersinkChoice, ThreadChoice
from lintsvc.model.sheet import Bend
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

RULES: dict[str, Rule] = {rule.id: rule for pack in load_packs(installed=False) for rule in pack.rules}
CHOICE_KEYS = {x.name for x in fields(Choices)}


def folder_of(rule: Rule) -> Path:
    path = Path(rule.path)
    return path.parent / "fixtures" / path.stem


def cases() -> list[Any]:
    found = []
    for rule in RULES.values():
        manifest = folder_of(rule) / "cases.toml"
        if manifest.is_file():
            for case in tomllib.loads(manifest.read_text("utf-8"))["case"]:
                found.append(pytest.param(rule, case, id=f"{rule.id}:{case['file']}"))
    return found


def choices_of(case: dict[str, Any]) -> Choices:
    values = {key: value for key, value in case.items() if key in CHOICE_KEYS}
    values["bends"] = tuple(
        Bend(**{k: tuple(v) if isinstance(v, list) else v for k, v in x.items()}) for x in case.get("bends", ())
    )
    values["threads"] = tuple(ThreadChoice(x["thread"], tuple(x["centre_mm"])) for x in case.get("threads", ()))
    values["countersinks"] = tuple(
        CountersinkChoice(x["screw"], tuple(x["centre_mm"]), x.get("side", "up")) for x in case.get("countersinks", ())
    )
    if "finished_size_mm" in values:
        values["finished_size_mm"] = tuple(values["finished_size_mm"])
    return Choices(**values)


@pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))
def test_rule_has_a_good_and_a_bad_fixture(rule: Rule) -> None:
    manifest = folder_of(rule) / "cases.toml"
    assert manifest.is_file(), f"{rule.id} has no {manifest}"
    listed = tomllib.loads(manifest.read_text("utf-8"))["case"]
    assert any(case["finds"] for case in listed), f"{rule.id} has no bad fixture"
    assert any(not case["finds"] for case in listed), f"{rule.id} has no good fixture"
    for case in listed:
        assert (manifest.parent / case["file"]).is_file(), f"{rule.id}: {case['file']} is missing"


@pytest.mark.parametrize(("rule", "case"), cases())
def test_fixture_gives_what_it_states(rule: Rule, case: dict[str, Any]) -> None:
    path = folder_of(rule) / case["file"]
    report = check_file(path, choices_of(case), [rule]).report
    assert report.unreadable is None, report.unreadable
    assert not report.not_checked, report.not_checked
    assert report.checked == (rule.id,)
    wanted = case["finds"]
    assert len(report.findings) == len(wanted), [x.message for x in report.findings]
    left = list(report.findings)
    for want in wanted:
        match = next((x for x in left if fits(x, want)), None)
        assert match is not None, f"nothing fits {want}; there is {left}"
        left.remove(match)


def fits(finding: Any, want: dict[str, Any]) -> bool:
    if "at" in want and (finding.where is None or math.dist(finding.where.point, want["at"]) > want.get("within", 1.0)):
        return False
    if "measured" in want:
        # 2 % of the value, or the case's own tolerance.
        tolerance = want.get("measured_within", 0.02 * abs(want["measured"]) + 1e-9)
        if finding.measured is None or abs(finding.measured.value - want["measured"]) > tolerance:
            return False
    if "limit" in want and (finding.limit is None or abs(finding.limit.value - want["limit"]) > 1e-6):
        return False
    return "level" not in want or finding.level == want["level"]
