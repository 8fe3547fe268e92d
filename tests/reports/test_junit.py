"""JUnit XML, read back by a library of its own."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st
from junitparser import Error, Failure, JUnitXml, Skipped, TestCase
from parts import reports

from lintsvc.model.report import Report
from lintsvc.reports.junit import dumps


def cases(report: Report, fail_on: str = "error") -> dict[str, TestCase]:
    """Outside check: junitparser reads what was written."""
    suites = JUnitXml.fromstring(dumps(report, fail_on=fail_on).encode())
    return {case.name: case for suite in suites for case in suite}


def kinds(case: TestCase) -> list[type]:
    return [type(x) for x in case.result]


def test_counts_are_those_that_a_reader_counts_itself() -> None:
    suites = JUnitXml.fromstring(dumps(reports.whole_report()).encode())
    stated = (suites.tests, suites.failures, suites.errors, suites.skipped)
    suites.update_statistics()
    assert stated == (suites.tests, suites.failures, suites.errors, suites.skipped) == (8, 1, 2, 1)


def test_rule_with_an_error_fails_and_says_everything() -> None:
    case = cases(reports.whole_report())["powder-bed/thin-wall"]
    assert kinds(case) == [Failure]
    assert case.classname == "housing.stl"
    text = case.result[0].text
    for word in ("x 25, y 20, z 0 mm", "0.62 mm, limit 0.8 mm", "handbook", "remedy", "caution"):
        assert word in text


def test_warning_passes_at_error_and_fails_at_warning() -> None:
    assert kinds(cases(reports.whole_report())["sheet/hole-too-small"]) == []
    assert kinds(cases(reports.whole_report(), "warning")["sheet/hole-too-small"]) == [Failure]
    assert kinds(cases(reports.whole_report(), "never")["powder-bed/thin-wall"]) == []


def test_lesser_findings_stand_in_the_output_of_a_passing_case() -> None:
    assert "An edge is open over 40 mm." in cases(reports.whole_report())["soundness/open-edge"].system_out


def test_rule_not_checked_is_skipped_and_a_failed_rule_is_an_error() -> None:
    found = cases(reports.whole_report())
    assert kinds(found["powder-bed/too-big"]) == [Skipped]
    assert kinds(found["sheet/web-too-thin"]) == [Error]


def test_unreadable_file_is_an_error() -> None:
    case = cases(reports.whole_report())["read"]
    assert kinds(case) == [Error]
    assert case.result[0].message == "The file ends in the middle of a triangle."


def test_finding_set_aside_does_not_fail() -> None:
    report = Report((reports.housing_report(reports.thin_wall(set_aside="meant so")),))
    assert kinds(cases(report)["powder-bed/thin-wall"]) == []


@given(text=st.text())
def test_no_text_breaks_the_xml(text: str) -> None:
    report = Report((reports.housing_report(reports.thin_wall(message=text), file=text),))
    assert ET.fromstring(dumps(report).encode()).tag == "testsuites"
