"""The Markdown summary, read by a Markdown library."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from parts import reports

from lintsvc.model.report import Report
from lintsvc.reports.markdown import dumps


def rendered(report: Report, pictures: dict[int, str] | None = None) -> str:
    """Outside check: what markdown-it makes of it, raw HTML shown as text."""
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    return str(reader.render(dumps(report, pictures=pictures)))


def test_every_file_is_a_line_of_the_table() -> None:
    html = rendered(reports.whole_report())
    assert html.count("<tr>") == 1 + 3 + 1 + 2 + 1 + 1
    for words in ("housing.stl", "1 error, 1 warning", "bracket.dxf", "unreadable", "A wall is 0.62 mm thick"):
        assert words in html


def test_finding_says_where_measured_and_remedy() -> None:
    text = dumps(reports.whole_report())
    for words in (
        "**error** `powder-bed/thin-wall`",
        "x 25, y 20, z 0 mm; faces 0, 1",
        "0.62 mm, limit 0.8 mm",
        "Make the wall at least 0.8 mm thick.",
        "Fine powder: keep it out of eyes and lungs.",
        "- no limit is known for this material: `powder-bed/too-big`",
    ):
        assert words in text


def test_picture_is_shown_by_its_path() -> None:
    assert '<img src="lit/a%20b.svg" alt="housing.stl"' in rendered(reports.whole_report(), {0: "lit/a b.svg"})


def test_many_findings_are_counted_and_not_listed() -> None:
    text = dumps(Report((reports.housing_report(*[reports.thin_wall()] * 50),)))
    assert text.count("**error**") == 20
    assert "… and 30 more" in text


def test_finding_set_aside_does_not_colour_the_line() -> None:
    text = dumps(Report((reports.housing_report(reports.thin_wall(set_aside="meant so")),)))
    assert "| ✅ | housing.stl | 1 set aside; 1 rule not checked |  |" in text


@given(st.text())
def test_no_text_breaks_the_table_or_becomes_markup(text: str) -> None:
    hostile = f"a | b\n| c <script>alert(1)</script> ![x](y) {text}"
    html = rendered(Report((reports.housing_report(reports.thin_wall(message=hostile), file=hostile),)))
    assert "<script>" not in html
    assert "<img" not in html
    # The head, one file; the head, one finding.
    assert html.count("<tr>") == 4
