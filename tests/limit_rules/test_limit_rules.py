"""Limit rules: read from TOML, run on parts, honest about what is not known, and refused with the line when wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from parts import reports

from lintsvc.model.choices import Choices
from lintsvc.model.finding import Finding
from lintsvc.model.part import Part
from lintsvc.model.report import PartReport
from lintsvc.model.sheet import Circle, Entity
from lintsvc.reports.rule_pages import plain_text
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.limit_rules.features import FEATURES, SINGLES
from lintsvc.rulebook.limit_rules.load import NEEDED, load_limit_rule
from lintsvc.rulebook.packs import load_pack
from lintsvc.rulebook.rule import Rule, RuleError

WORDS = {
    "title": "Hole too small for our punch",
    "faulty_when": "hole.diameter < max(5 mm, 1.2 * sheet.thickness)",
    "message": "A hole is {measured} across; we punch from {limit}.",
    "remedy": "Open the hole to {limit}.",
    "ignore_when": "it is drilled anyway",
    "source": "our punch table",
    "level": "warning",
    "since": "1",
}
BRACKET = Choices(process="sheet", material="steel-mild", thickness_mm=2.5)


def write(folder: Path, **changes: str | None) -> Path:
    folder.mkdir(exist_ok=True)
    words = {key: value for key, value in (WORDS | changes).items() if value is not None}
    path = folder / "hole_too_small.toml"
    path.write_text("".join(f"{key} = '''{value}'''\n" for key, value in words.items()), "utf-8")
    return path


def load(folder: Path, **changes: str | None) -> Rule:
    return load_limit_rule(write(folder, **changes), "shop")


def checked(rule: Rule, part: Part | None = None, choices: Choices = BRACKET) -> PartReport:
    return check_part(part or reports.bracket_part(), choices, [rule]).report


def found(rule: Rule, part: Part | None = None, choices: Choices = BRACKET) -> tuple[Finding, ...]:
    report = checked(rule, part, choices)
    assert not report.not_checked, report.not_checked
    return report.findings


def test_rule_finds_the_hole_and_says_measured_limit_place_and_source(tmp_path: Path) -> None:
    (finding,) = found(load(tmp_path))
    assert finding.rule == "shop/hole-too-small"
    assert finding.message == "A hole is 4.2 mm across; we punch from 5 mm."
    assert finding.remedy == "Open the hole to 5 mm."
    assert finding.limit is not None
    assert (finding.limit.value, finding.limit.source.kind) == (5.0, "shop")
    assert finding.where is not None
    assert finding.where.point == (20.0, 30.0, 0.0)
    assert finding.where.entities == (1,)
    assert finding.where.span is not None


@pytest.mark.parametrize(
    ("condition", "count"),
    [
        ("hole.diameter < 4.3 mm", 1),
        ("hole.diameter < 4.2 mm", 0),  # at the limit is not below it
        ("hole.diameter <= 4.2 mm", 1),
        ("hole.diameter > 4.1 mm", 1),
        ("2 * sheet.thickness > hole.diameter", 1),
        ("hole.diameter < 5 mm and material.family == 'steel'", 1),
        ("hole.diameter < 5 mm and material.family == 'brass'", 0),
        ("hole.diameter < 5 mm and hole.x > 50 mm", 0),
        ("hole.diameter < 5 mm and (hole.x > 50 mm or hole.y > 20 mm)", 1),
        ("slot.width < 10.5 mm", 1),
        ("slot.length / slot.width > 2.9", 1),
        ("slot.length / slot.width > 3.1", 0),
        ("web.width < 40 mm", 1),
        ("part.length > 99 mm", 1),
        ("part.length > 101 mm", 0),
        ("part.holes >= 1 and sheet.thickness > 2 mm", 1),
        ("part.mass > 100 g", 1),
        ('hole.diameter < clearance_hole("M5") and hole.diameter > tap_drill("M4")', 1),
    ],
)
def test_condition_decides(tmp_path: Path, condition: str, count: int) -> None:
    rule = load(tmp_path, faulty_when=condition, message="{measured} {limit}", remedy="x")
    assert bool(found(rule)) == bool(count)


@pytest.mark.parametrize(
    ("condition", "count"),
    [
        ("section.thickness > 11 mm", 1),
        ("section.thickness > 12.5 mm", 0),
        ("part.volume > 14000 mm3", 1),
        ("part.bodies > 1", 0),
    ],
)
def test_condition_on_a_body(tmp_path: Path, condition: str, count: int) -> None:
    rule = load(tmp_path, faulty_when=condition, message="{measured} {limit}", remedy="x")
    findings = found(rule, reports.housing_part(), Choices(process="powder-bed", material="pa12"))
    assert bool(findings) == bool(count)


@pytest.mark.parametrize(("condition", "count"), [("wall.thickness < 2.5 mm", 1), ("wall.thickness < 1.5 mm", 0)])
def test_wall_is_looked_for_up_to_the_limit(tmp_path: Path, condition: str, count: int) -> None:
    part = reports.housing_part()
    assert part.body is not None
    plate = replace(part, body=replace(part.body, vertices=part.body.vertices * (1.0, 1.0, 2.0 / 12.0)))
    rule = load(tmp_path, faulty_when=condition, message="{measured} {limit} {length}", remedy="x")
    findings = found(rule, plate, Choices(process="powder-bed", material="pa12"))
    assert [x.measured.value for x in findings if x.measured] == pytest.approx([2.0] * count, abs=1e-6)


def test_word_of_the_feature_may_stand_in_the_message(tmp_path: Path) -> None:
    rule = load(tmp_path, message="{count} at x {x}, {measured}")
    assert found(rule)[0].message == "1 at x 20 mm, 4.2 mm"


@pytest.mark.parametrize(
    ("condition", "choices", "why"),
    [
        ("hole.diameter < 2 * sheet.thickness", Choices(process="sheet"), "no thickness is given"),
        ("hole.diameter < 5 mm and material.family == 'steel'", Choices(process="sheet"), "no material is given"),
        ("hole.diameter < 5 mm and choice.finish == 'painted'", BRACKET, "choice.finish is not known"),
        ("hole.diameter / (sheet.thickness - 2.5 mm) > 1", BRACKET, "divides by zero"),
        ("hole.diameter < least_bend_radius(material.id, 900 * sheet.thickness)", BRACKET, "no least bend radius"),
    ],
)
def test_what_is_not_known_is_not_checked_and_never_a_pass(
    tmp_path: Path, condition: str, choices: Choices, why: str
) -> None:
    report = checked(load(tmp_path, faulty_when=condition), choices=choices)
    (missed,) = report.not_checked
    assert why in missed.why
    assert not missed.failed
    assert report.checked == ()


@pytest.mark.parametrize("key", NEEDED)
def test_every_needed_key_is_asked_for(tmp_path: Path, key: str) -> None:
    with pytest.raises(RuleError, match=f"{key} is missing"):
        load(tmp_path, **{key: None})


@pytest.mark.parametrize(
    ("changes", "line", "words"),
    [
        ({"faulty_when": "hole.diamter < 3 mm"}, 2, "column 1: there is no 'hole.diamter'"),
        ({"faulty_when": "hole.diameter"}, 2, "must compare something"),
        ({"faulty_when": "hole.diameter < slot.width"}, 2, "speaks of hole and slot"),
        ({"faulty_when": "3 mm < 4 mm"}, 2, "speaks of nothing in the part"),
        ({"faulty_when": "hole.diameter == 3 mm"}, 2, "by < or >"),
        ({"faulty_when": "web.width > 3 mm"}, 2, "can only be compared by <"),
        ({"faulty_when": "section.thickness < 3 mm"}, 2, "can only be compared by >"),
        ({"faulty_when": "2 * wall.thickness < 3 mm"}, 2, "its first comparison must be wall.thickness"),
        ({"faulty_when": "wall.thickness < wall.length"}, 2, "does not depend on it"),
        ({"message": "{diametr}"}, 3, "{diametr} means nothing here"),
        ({"remedy": "{"}, 4, "written twice"),
        ({"level": "fatal"}, 7, "error, warning, note"),
        ({"process": "milling"}, 9, "powder-bed, sheet"),
        ({"thickness": "2mm"}, 9, "there is no key 'thickness'"),
        ({"messages": "x"}, 9, "did you mean 'message'?"),
        ({"source": " "}, 6, "kinds are standard"),
    ],
)
def test_mistake_is_named_with_file_line_and_valid_words(
    tmp_path: Path, changes: dict[str, Any], line: int, words: str
) -> None:
    with pytest.raises(RuleError) as caught:
        load(tmp_path, **changes)
    assert f"hole_too_small.toml, line {line}: " in str(caught.value)
    assert words in str(caught.value)


def test_limit_from_memory_makes_no_error(tmp_path: Path) -> None:
    path = write(tmp_path, level="error")
    text = path.read_text("utf-8").replace("source = '''our punch table'''", 'source = {kind = "memory", text = "x"}')
    path.write_text(text, "utf-8")
    with pytest.raises(RuleError, match="warning at most"):
        load_limit_rule(path, "shop")


def test_pack_may_hold_both_kinds_of_rules_and_change_others(tmp_path: Path) -> None:
    write(tmp_path / "shop")
    (tmp_path / "shop" / "pack.toml").write_text(
        'name = "shop"\ntitle = "Our shop"\nsummary = "x"\n[levels]\n"sheet/hole-too-small" = "off"\n', "utf-8"
    )
    pack = load_pack(tmp_path / "shop")
    assert [x.id for x in pack.rules] == ["shop/hole-too-small"]
    assert pack.rules[0].path.endswith("hole_too_small.toml")
    assert [(x.rule, x.level) for x in pack.adjustments.levels] == [("sheet/hole-too-small", "off")]


def test_page_of_a_limit_rule_shows_its_condition_and_source(tmp_path: Path) -> None:
    page = " ".join(plain_text(load(tmp_path, why="Our punch starts there.")).split())
    for words in ("hole.diameter < max(5 mm, 1.2 * sheet.thickness)", "our punch table", "Our punch starts there."):
        assert words in page


def test_every_feature_and_every_value_says_what_it_is() -> None:
    for thing in (*FEATURES, *SINGLES):
        assert thing.what
        assert thing.attributes
        assert all(x.what for x in thing.attributes.values())
    assert len({x.name for x in (*FEATURES, *SINGLES)}) == len(FEATURES) + len(SINGLES)


def test_forty_equal_holes_are_one_finding(tmp_path: Path) -> None:
    part = reports.bracket_part()
    assert part.sheet is not None
    holes = tuple(
        Entity(5 + n, str(n), "circle", "CUT", (Circle((45.0 + 5 * (n % 10), 5.0 + 4 * (n // 10)), 1.0),))
        for n in range(40)
    )
    many = replace(part, sheet=replace(part.sheet, entities=part.sheet.entities + holes))
    findings = found(load(tmp_path, faulty_when="hole.diameter < 3 mm", message="{count}: {measured}"), many)
    assert [x.message for x in findings] == ["40: 2 mm"]
