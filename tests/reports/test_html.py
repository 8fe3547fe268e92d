"""The HTML report: one file, no script, everything escaped, everything there."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st
from parts import reports
from parts.rules import sample_rules

from lintsvc.model.report import Report
from lintsvc.reports.html import dumps
from lintsvc.reports.picture import Svgs, picture_svg, svgs_of


class Reader(HTMLParser):
    """Collects tags, attributes and text, as a browser would see them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def test_everything_of_a_finding_is_there() -> None:
    text = Reader(dumps(reports.whole_report(), rules=sample_rules())).text
    for words in (
        "housing.stl",
        "A wall is 0.62 mm thick; 0.8 mm is the least.",
        "x 25, y 20, z 0 mm; faces 0, 1",
        "0.62 mm, limit 0.8 mm",
        "handbook: Design notes for powder-bed nylon, table of walls",
        "Make the wall at least 0.8 mm thick.",
        "Fine powder: keep it out of eyes and lungs.",
        "Ignore when: the wall is a film meant to be cut away.",
        "no limit is known for this material",
        "The file ends in the middle of a triangle.",
        "byte 133",
    ):
        assert words in text


def test_nothing_runs_and_nothing_is_loaded_from_elsewhere() -> None:
    pictures = {0: svgs_of(reports.housing_part(), [reports.thin_wall()])}
    read = Reader(dumps(reports.whole_report(), pictures=pictures))
    assert not {"script", "link", "iframe", "object", "embed"} & set(read.tags)
    assert not [name for name, _ in read.attributes if name.startswith("on")]
    loaded = [value or "" for name, value in read.attributes if name in {"src", "href", "xlink:href"}]
    assert loaded
    assert all(value.startswith("data:image/png;base64,") for value in loaded)


def test_picture_stands_with_its_part() -> None:
    html = dumps(reports.whole_report(), pictures={1: Svgs("<svg id='second'></svg>")})
    assert html.index("housing.stl") < html.index("bracket.dxf") < html.index("<svg id='second'>")


def test_close_up_stands_in_its_finding_and_not_in_one_set_aside() -> None:
    pictures = {0: Svgs(None, {1: "<svg id='near-1'></svg>", 2: "<svg id='near-2'></svg>"})}
    findings = (reports.thin_wall(set_aside="meant so"), reports.open_edge())
    html = dumps(Report((reports.housing_report(*findings),)), pictures=pictures)
    assert "near-1" not in html
    assert html.index("soundness/open-edge") < html.index("near-2")


def test_finding_set_aside_gives_its_reason() -> None:
    text = Reader(dumps(Report((reports.housing_report(reports.thin_wall(set_aside="meant so")),)))).text
    assert "error, set aside" in text
    assert "meant so" in text


@given(st.text())
def test_no_text_becomes_markup(text: str) -> None:
    hostile = f"</dd><script>alert(1)</script><img src=x onerror=alert(1)>{text}"
    finding = reports.thin_wall(message=hostile, remedy=hostile, set_aside=hostile)
    read = Reader(dumps(Report((reports.housing_report(finding, file=hostile),))))
    assert "script" not in read.tags
    assert "img" not in read.tags


def test_numbers_of_findings_are_those_of_the_picture() -> None:
    findings = (reports.thin_wall(), reports.open_edge())
    picture = picture_svg(reports.housing_part(), findings) or ""
    assert re.findall(r"<title>(\d)\. ([\w/-]+):", picture) == [
        ("1", "powder-bed/thin-wall"),
        ("2", "soundness/open-edge"),
    ]
    html = dumps(Report((reports.housing_report(*findings),)))
    assert re.findall(r"<strong>(\d)</strong>.*?<code>([\w/-]+)</code>", html, re.DOTALL) == [
        ("1", "powder-bed/thin-wall"),
        ("2", "soundness/open-edge"),
    ]
