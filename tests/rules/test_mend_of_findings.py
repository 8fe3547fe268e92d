"""A finding that names a mend: `lintsvc mend` does it, and the finding is gone; SARIF carries the description."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.measure.mend import CannotMend, mend_file
from lintsvc.model.report import Report
from lintsvc.reports.sarif import to_sarif
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.fixtures import cases_of
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

MENDED_BY = [rule for pack in load_packs(installed=False) for rule in pack.rules if rule.mend]


def test_there_are_rules_that_name_a_mend() -> None:
    assert {x.id for x in MENDED_BY} >= {"soundness/open-edge", "soundness/flipped-face", "soundness/inside-out"}


@pytest.mark.parametrize("rule", MENDED_BY, ids=[x.id for x in MENDED_BY])
def test_mend_ends_the_finding_that_names_it_or_is_refused(rule: Rule, tmp_path: Path) -> None:
    mended = 0
    for number, case in enumerate(x for x in cases_of(rule) if not x.good):
        before = case.file.read_bytes()
        out = tmp_path / f"{number}.stl"
        try:
            account = mend_file(case.file, out)
        except CannotMend as refused:
            assert str(refused)
            assert not out.exists()
            continue
        finally:
            assert case.file.read_bytes() == before
        assert account.changed
        assert account.done()
        assert check_file(out, case.choices, [rule]).report.findings == ()
        mended += 1
    assert mended >= 1


@pytest.mark.parametrize("rule", MENDED_BY, ids=[x.id for x in MENDED_BY])
def test_sarif_result_carries_the_description_of_the_mend(rule: Rule) -> None:
    case = next(x for x in cases_of(rule) if not x.good)
    report = check_file(case.file, case.choices, [rule]).report
    results = to_sarif(Report((report,)), [rule])["runs"][0]["results"]
    assert results
    assert {x["properties"]["fix"] for x in results} == {rule.mend}
