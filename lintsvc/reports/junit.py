"""JUnit XML: a suite a file, a case a rule. What was not checked is skipped, never passed."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET  # only writes

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.words import at_or_above, finding_rows, xml_text


def dumps(report: Report, *, fail_on: str = "error") -> str:
    """Return the report as JUnit XML. A rule fails where a finding is as bad as `fail_on`, or worse."""
    root = ET.Element("testsuites", name="lintsvc")
    for part in report.entries:
        root.append(_suite(part, fail_on))
    for key in ("tests", "failures", "errors", "skipped"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in root)))
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _suite(part: PartReport, fail_on: str) -> ET.Element:
    seconds = part.seconds.read + part.seconds.measure + part.seconds.rules
    suite = ET.Element("testsuite", name=xml_text(part.file), time=f"{seconds:.3f}")
    by_rule: dict[str, list[Finding]] = {rule: [] for rule in part.checked}
    for finding in part.findings:
        by_rule.setdefault(finding.rule, []).append(finding)
    missed = {x.rule: x for x in part.not_checked}
    if part.unreadable is not None:
        why = part.unreadable
        case = _case(suite, "read", part)
        _outcome(case, "error", why.why, [why.where, why.remedy])
        missed.pop("*", None)
    for rule in sorted({*by_rule, *missed}):
        case = _case(suite, "every-rule" if rule == "*" else rule, part)
        findings = [x for x in by_rule.get(rule, ()) if not x.set_aside]
        failing = [x for x in findings if at_or_above(x.level, fail_on)]
        # A rule that found something and then gave up counts as failed: the worse of the two.
        if failing:
            _outcome(case, "failure", failing[0].message, [_details(x, part) for x in failing], failing[0].level)
        elif rule in missed:
            _outcome(case, "error" if missed[rule].failed else "skipped", f"not checked: {missed[rule].why}")
        others = [_details(x, part) for x in findings if x not in failing]
        if others:
            ET.SubElement(case, "system-out").text = xml_text("\n\n".join(others))
    for key, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        suite.set(key, str(len(suite.findall(f"testcase/{tag}"))))
    suite.set("tests", str(len(suite)))
    return suite


def _case(suite: ET.Element, name: str, part: PartReport) -> ET.Element:
    return ET.SubElement(suite, "testcase", name=name, classname=xml_text(part.file), file=xml_text(part.file))


def _outcome(case: ET.Element, tag: str, message: str, details: Sequence[str] = (), kind: str = "") -> None:
    outcome = ET.SubElement(case, tag, message=xml_text(message))
    if kind:
        outcome.set("type", kind)
    outcome.text = xml_text("\n\n".join(x for x in details if x)) or None


def _details(finding: Finding, part: PartReport) -> str:
    kind = part.part.kind if part.part else "body"
    rows = [f"{name}: {text}" for name, text in finding_rows(finding, kind)]
    return "\n".join([f"{finding.level}: {finding.message}", *rows])
