"""A baseline: what an earlier report found does not count; new findings do; a renamed file keeps its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from parts import reports

from lintsvc.model.report import Report
from lintsvc.project.baseline import Baseline, read_baseline
from lintsvc.project.config import ConfigError
from lintsvc.reports.json_report import dumps


@pytest.fixture
def known(tmp_path: Path) -> Baseline:
    path = tmp_path / "baseline.json"
    path.write_text(dumps(reports.whole_report()), "utf-8")
    return read_baseline(path)


def test_known_findings_are_set_aside_and_new_ones_are_not(known: Baseline) -> None:
    new = reports.thin_wall(fingerprint="f" * 16)
    part = known.apply(reports.housing_report(reports.thin_wall(), new))
    assert [bool(x.set_aside) for x in part.findings] == [True, False]
    assert part.findings[0].set_aside == "known: it is in baseline.json"


def test_decision_about_a_known_finding_stays_its_reason(known: Baseline) -> None:
    part = known.apply(reports.housing_report(reports.thin_wall(set_aside="meant so"), reports.open_edge()))
    assert part.findings[0].set_aside == "meant so"
    assert known.gone({"housing.stl"}) == 0


def test_second_of_two_alike_is_new_when_one_was_known(known: Baseline) -> None:
    part = known.apply(reports.housing_report(reports.thin_wall(), reports.thin_wall()))
    assert [bool(x.set_aside) for x in part.findings] == [True, False]


def test_renamed_file_is_known_by_its_content(known: Baseline) -> None:
    assert known.apply(reports.housing_report(file="new-name.stl")).findings[0].set_aside
    other = replace(reports.housing_report(file="new-name.stl"), sha256="ee" * 32)
    assert not known.apply(other).findings[0].set_aside


def test_known_findings_that_are_gone_are_counted_for_the_files_looked_at(known: Baseline) -> None:
    known.apply(reports.housing_report(reports.thin_wall()))
    assert known.gone({"housing.stl"}) == 1
    assert known.gone({"other.stl"}) == 0


@pytest.mark.parametrize("text", ["no json", "[]", '{"parts": [1]}', '{"parts": [{"file": "a"}]}'])
def test_what_is_no_report_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "baseline.json"
    path.write_text(text, "utf-8")
    with pytest.raises(ConfigError, match="is no JSON report"):
        read_baseline(path)


def test_baseline_of_nothing_knows_nothing(tmp_path: Path) -> None:
    path = tmp_path / "baseline.json"
    path.write_text(dumps(Report(())), "utf-8")
    assert not read_baseline(path).apply(reports.housing_report()).findings[0].set_aside
