"""What to do about a finding is said in the words of whoever reads it: command, paper, page."""

from __future__ import annotations

import json
import re
import shlex
from dataclasses import replace
from html import unescape
from pathlib import Path

import ezdxf
import pypdfium2
import pytest
from parts import reports
from parts.command import lintsvc

from lintsvc.model.finding import Where
from lintsvc.model.report import Report
from lintsvc.reports import html, json_report, junit, markdown, pdf, sarif, text
from lintsvc.reports.remedy import how_to_say, remedy_in_report
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

MISSING = {"bend/direction-missing", "bend/angle-missing"}


def strip(path: Path, unit: int) -> Path:
    """A strip with two bend lines of which nothing says which way they go or how far."""
    drawing = ezdxf.new()
    drawing.units = unit
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (120, 0), (120, 40), (0, 40)], close=True, dxfattribs={"layer": "CUT"})
    for x in (-1, 0):
        space.add_line((80.25 + 40 * x, 0), (80.25 + 40 * x, 40), dxfattribs={"layer": "BEND"})
    drawing.saveas(path)
    return path


def options_in(said: str) -> list[str]:
    """The options that a report writes out."""
    flat = re.sub(r"\s+", " ", said)
    return [y for x in dict.fromkeys(re.findall(r'--bend "[^"]*"', flat)) for y in shlex.split(x)]


def test_the_options_that_a_report_writes_out_settle_its_findings(tmp_path: Path) -> None:
    file = strip(tmp_path / "strip.dxf", 4)
    before = lintsvc("check", "--no-cache", file.name, cwd=tmp_path)
    assert {x for x in MISSING if x in before.stdout} == MISSING
    options = options_in(before.stdout)
    assert options == ["--bend", "at 80.25,20 up 90"]
    assert "once for each" in re.sub(r"\s+", " ", before.stdout)
    one = json.loads(lintsvc("check", "--no-cache", "--format", "json", *options, file.name, cwd=tmp_path).stdout)
    assert [(x["direction"], x["angle_deg"]) for x in one["parts"][0]["part"]["bends"]] == [(None, None), ("up", 90)]
    left = lintsvc("check", "--no-cache", *options, file.name, cwd=tmp_path).stdout
    settled = lintsvc("check", "--no-cache", *options, *options_in(left), file.name, cwd=tmp_path).stdout
    assert options_in(left) == ["--bend", "at 40.25,20 up 90"]
    assert not {x for x in MISSING if x in settled}


def test_the_key_that_is_named_settles_it_for_several_files(tmp_path: Path) -> None:
    for name in ("a.dxf", "b.dxf"):
        strip(tmp_path / name, 0)
    assert "by --units, or by the key units in lintsvc.toml" in re.sub(
        r"\s+", " ", lintsvc("check", "--no-cache", "a.dxf", cwd=tmp_path).stdout
    )
    bends = '["at 40.25,20 up 90", "at 80.25,20 down 90"]'
    (tmp_path / "lintsvc.toml").write_text(f'[[parts]]\nfiles = "*.dxf"\nunits = "mm"\nbends = {bends}\n', "utf-8")
    report = json.loads(lintsvc("check", "--no-cache", "--format", "json", "a.dxf", "b.dxf", cwd=tmp_path).stdout)
    assert len(report["parts"]) == 2
    rules = {y["rule"] for x in report["parts"] for y in x["findings"]}
    assert not rules & (MISSING | {"sheet/units-missing", "soundness/units-doubtful"})


def test_every_report_says_the_option_and_json_the_choice() -> None:
    line = ((0.0, 5.0, 0.0), (20.0, 5.5, 0.0))
    where = Where((10.0, 5.25, 0.0), (line[0], line[1]), lines=(line,))
    finding = replace(reports.thin_wall(), remedy="Write it beside the line.", where=where, settles="bends")
    report = Report((reports.housing_report(finding),))
    said = '--bend "at 10,5.25 up 90"'
    paper = " ".join(x.get_textpage().get_text_range() for x in pypdfium2.PdfDocument(pdf.dumps(report)))
    told = sarif.to_sarif(report)["runs"][0]["results"][0]["message"]["text"]
    for words in (text.dumps(report, width=300), html.dumps(report), junit.dumps(report), told, paper):
        assert said in unescape(re.sub(r"\s+", " ", words))
    assert "bend" in markdown.dumps(report)
    data = json_report.to_dict(report)["parts"][0]["findings"][0]
    assert (data["settles"], data["remedy"]) == ("bends", "Write it beside the line.")
    assert json_report.from_dict(json_report.to_dict(report)) == report


def test_only_where_a_choice_settles_it_something_is_added() -> None:
    plain = reports.thin_wall()
    assert remedy_in_report(plain) == plain.remedy
    assert "X,Y" in how_to_say("bends")
    assert "settles" not in json_report.finding_to_dict(plain)


RULES = [x for pack in load_packs() for x in pack.rules]


@pytest.mark.parametrize("rule", RULES, ids=lambda x: x.id)
def test_a_rule_itself_speaks_of_no_place_where_it_is_read(rule: Rule) -> None:
    said = " ".join((rule.message, rule.remedy, rule.caution, rule.mend))
    assert not re.search(r"--[a-z]|lintsvc\.toml|choose it here|(this|the) page\b|\bbutton\b|\bclick\b", said)
