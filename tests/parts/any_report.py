"""What holds of a report whatever the part was."""

from __future__ import annotations

from collections.abc import Sequence

from lintsvc.model.report import PartReport
from lintsvc.rulebook.rule import Rule


def ended_well(report: PartReport, rules: Sequence[Rule]) -> None:
    """Every rule was run to its end or says why not, none failed, and every finding has all its words."""
    assert [(x.rule, x.why) for x in report.not_checked if x.failed] == []
    assert len(report.checked) + len(report.not_checked) == len(rules)
    for finding in report.findings:
        assert finding.message and finding.remedy
        assert "{" not in finding.message + finding.remedy
