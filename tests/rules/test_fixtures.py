"""Every rule finds its fault in its bad fixtures, at the place and value stated, and nothing in its good ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lintsvc.model.report import PartReport
from lintsvc.order.load import report_of
from lintsvc.rulebook.fixtures import Case, cases_of, folder_of, problems_of_case
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

RULES: dict[str, Rule] = {rule.id: rule for pack in load_packs(installed=False) for rule in pack.rules}


def cases() -> list[Any]:
    return [
        pytest.param(rule, case, id=f"{rule.id}:{case.file.name}") for rule in RULES.values() for case in cases_of(rule)
    ]


@pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))
def test_rule_has_a_good_and_a_bad_fixture(rule: Rule) -> None:
    found = cases_of(rule)
    assert any(not x.good for x in found), f"{rule.id} has no bad fixture in {folder_of(rule)}"
    assert any(x.good for x in found), f"{rule.id} has no good fixture in {folder_of(rule)}"


@pytest.mark.parametrize(("rule", "case"), cases())
def test_fixture_gives_what_it_states(rule: Rule, case: Case) -> None:
    reports: list[PartReport] = []

    def look(rule: Rule, case: Case) -> PartReport:
        reports.append(report_of(rule, case))
        return reports[-1]

    assert list(problems_of_case(rule, case, look)) == []
    # What lies somewhere on a body is lit there; all of a part needs no light.
    (report,) = reports
    if report.part is not None and report.part.kind == "body" and rule.kinds == ("body",):
        for where in (x.where for x in report.findings if x.where is not None):
            whole = np.allclose(np.subtract(where.box[1], where.box[0]), report.part.size_mm)
            assert where.faces or whole, f"{rule.id} names no faces"
