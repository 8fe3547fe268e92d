"""The text report: everything a person needs, nothing that could steer the terminal."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from parts import reports

from lintsvc.model.report import Report
from lintsvc.reports.text import dumps


def test_finding_shows_what_where_measured_limit_remedy_and_source() -> None:
    text = dumps(Report((reports.housing_report(reports.thin_wall()),)))
    for words in (
        "ERROR  powder-bed/thin-wall  rank 85.3  00112233445566aa",
        "A wall is 0.62 mm thick; 0.8 mm is the least.",
        "where     x 25, y 20, z 0 mm; faces 0, 1",
        "measured  0.62 mm, limit 0.8 mm",
        "source    handbook: Design notes for powder-bed nylon, table of walls",
        "remedy    Make the wall at least 0.8 mm thick.",
        "caution   Fine powder: keep it out of eyes and lungs.",
    ):
        assert words in text


def test_rules_not_checked_stand_as_plain_as_findings() -> None:
    text = dumps(Report((reports.housing_report(),)))
    assert "  NOT CHECKED\n    no limit is known for this material: powder-bed/too-big\n" in text
    assert "1 error, 1 warning; 3 rules checked, 1 not" in text


def test_unreadable_file_says_why_where_and_what_to_do() -> None:
    text = dumps(Report((reports.unreadable_report(),)))
    assert "UNREADABLE" in text
    for words in ("The file ends in the middle of a triangle.", "byte 133", "Export it again."):
        assert words in text


def test_doubtful_unit_shows_the_other_size() -> None:
    text = dumps(Report((reports.housing_report(),)))
    assert "read in inches it would be 1 016 × 762 × 304.8 mm" in text


def test_several_files_end_in_a_total() -> None:
    assert dumps(reports.whole_report()).endswith("3 files; 1 error, 2 warnings; 1 unreadable; 2 rules not checked\n")


def test_hundreds_of_one_rule_are_counted_and_not_listed() -> None:
    many = [reports.thin_wall(fingerprint=f"{n:016x}") for n in range(300)]
    text = dumps(Report((reports.housing_report(*many),)))
    assert text.count("ERROR  powder-bed/thin-wall") == 10
    assert "… and 290 more of powder-bed/thin-wall; the JSON report lists all" in text
    assert "300 errors" in text


def test_finding_set_aside_is_shown_with_its_reason_and_not_counted_as_an_error() -> None:
    text = dumps(Report((reports.housing_report(reports.thin_wall(set_aside="meant so")),)))
    assert "ERROR (set aside)" in text
    assert "reason    meant so" in text
    assert "1 set aside; 3 rules checked" in text


def test_lines_keep_to_the_width() -> None:
    assert max(len(x) for x in dumps(reports.whole_report(), width=60).splitlines()) <= 60


def test_paint_is_told_what_each_piece_is() -> None:
    styles: set[str] = set()

    def paint(text: str, style: str) -> str:
        styles.add(style)
        return text

    assert dumps(reports.whole_report(), paint=paint) == dumps(reports.whole_report())
    assert styles == {"title", "quiet", "error", "warning"}


@given(text=st.text())
def test_no_text_from_a_file_reaches_the_terminal_as_a_control_sign(text: str) -> None:
    finding = reports.thin_wall(message=text, remedy=text, set_aside=text)
    written = dumps(Report((reports.housing_report(finding, file=text),)))
    assert not [x for x in written if x != "\n" and unicodedata.category(x) in {"Cc", "Cf", "Cs", "Zl", "Zp"}]


def test_terminal_escape_in_a_file_name_is_shown_and_not_obeyed() -> None:
    text = dumps(Report((reports.unreadable_report("\x1b]0;owned\x07.stl"),)))
    assert text.startswith(r"\x1b]0;owned\x07.stl" + "\n")
