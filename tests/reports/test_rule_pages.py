"""Pages about rules say everything the metadata knows, in each form."""

from __future__ import annotations

from pathlib import Path

from parts.rules import sample_rules

from lintsvc.model.limit import Limit
from lintsvc.model.source import COMMON_PRACTICE
from lintsvc.reports.rule_pages import limit_text, markdown, page, plain_text, rules_table
from lintsvc.reports.tables import markdown_table, text_table
from lintsvc.rulebook.packs import Pack

THIN_WALL, HOLE, OPEN_EDGE = sample_rules()


def test_page_has_every_section_in_a_readers_order() -> None:
    assert [x.heading for x in page(THIN_WALL).sections] == [
        "Why", "Measured", "Limits", "Remedy", "Ignore when", "Caution", "Applies to",
    ]  # fmt: skip


def test_section_with_nothing_to_say_is_left_out() -> None:
    headings = [x.heading for x in page(OPEN_EDGE).sections]
    assert "Limits" not in headings
    assert "Caution" not in headings
    assert "Sources" in headings


def test_every_limit_stands_with_its_source() -> None:
    for text in (plain_text(THIN_WALL), markdown(THIN_WALL)):
        assert "0.8 mm" in text
        assert "1.5 mm" in text
        assert text.count("handbook: Design notes for powder-bed nylon, table of walls") == 2


def test_limit_by_thickness_is_said_in_words() -> None:
    limit = Limit("steel", 1.2, "x thickness", COMMON_PRACTICE, at_least_mm=1.0)
    assert limit_text(limit) == "1.2 × thickness, at least 1 mm"
    assert "0.5 to 6 mm" in plain_text(HOLE)


def test_placeholders_of_a_remedy_become_words() -> None:
    assert "Make the wall at least the limit thick." in plain_text(THIN_WALL)
    assert "{" not in plain_text(THIN_WALL)


def test_markdown_keeps_signs_of_plain_text_from_being_read_as_markup() -> None:
    assert r"\<warps\>" in markdown(THIN_WALL)
    assert markdown_table([["a"], ["x|y_z*"]]).splitlines()[-1] == r"| x\|y_z\* |"


def test_headings_start_at_the_level_asked_for() -> None:
    assert markdown(THIN_WALL, heading=2).startswith("## `powder-bed/thin-wall`\n")
    assert "\n### Why\n" in markdown(THIN_WALL, heading=2)


def test_table_of_rules_has_a_row_for_each() -> None:
    table = rules_table([Pack("sample", "Sample", "For tests.", Path(), sample_rules())])
    assert table[0] == ("rule", "level", "process", "what is wrong")
    assert [row[0] for row in table[1:]] == [x.id for x in sample_rules()]


def test_text_table_has_columns_of_equal_width() -> None:
    assert text_table([("a", "long"), ("bbb", "c")]) == ["a    long", "bbb  c"]
