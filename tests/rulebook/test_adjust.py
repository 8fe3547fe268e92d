"""What a shop changes of the rules: limits, levels, rules off; for one material or process; and what is refused."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest
from parts.rules import sample_rules

from lintsvc.model.choices import Choices
from lintsvc.model.material import Material, Value
from lintsvc.model.source import COMMON_PRACTICE
from lintsvc.rulebook.adjust import (
    NO_ADJUSTMENTS,
    Adjusted,
    Adjustments,
    adjust,
    check_adjustments,
    read_adjustments,
)
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.limits import resolve
from lintsvc.rulebook.rule import Rule, RuleError

RULES = sample_rules()
NYLON = Material("pa12", "PA12", "nylon", ("powder-bed",), "parts", Value(1000.0, COMMON_PRACTICE))
STEEL = Material("steel-mild", "Mild steel", "steel", ("sheet",), "brackets", Value(7850.0, COMMON_PRACTICE))


def read(**data: Any) -> Adjustments:
    return read_adjustments(data, lambda table, key: f"shop.toml, {table}, {key}")


def applied(changes: Adjustments, material: Material | None = NYLON, process: str | None = "powder-bed") -> Adjusted:
    check_adjustments(RULES, changes)
    return adjust(RULES, changes, process, material)  # type: ignore[arg-type]


def by_id(rules: Iterable[Rule], id: str) -> Rule:
    return next(x for x in rules if x.id == id)


def test_without_changes_the_rules_stay_what_they_are() -> None:
    assert applied(NO_ADJUSTMENTS).rules == RULES


def test_changed_limit_holds_and_names_the_shop_as_its_source() -> None:
    changed = applied(read(limits={"powder-bed/thin-wall": "1.1mm"}))
    limit = resolve(by_id(changed.rules, "powder-bed/thin-wall"), NYLON, None)["limit"]
    assert (limit.value, limit.unit) == (1.1, "mm")
    assert limit.source.kind == "shop"
    assert "shop.toml, limits, powder-bed/thin-wall" in limit.source.text


def test_source_of_a_changed_limit_may_be_given() -> None:
    changed = applied(read(limits={"powder-bed/thin-wall": {"value": "1mm", "source": "trial prints of March"}}))
    assert resolve(by_id(changed.rules, "powder-bed/thin-wall"), NYLON, None)["limit"].source.text == (
        "trial prints of March"
    )


@pytest.mark.parametrize(
    ("text", "at_2_mm"),
    [("0.08in", 2.032), ("1.5x", 3.0), ("1.5 x thickness", 3.0), ("3 × thickness", 6.0), (1.2, 1.2)],
)
def test_limit_may_be_a_length_or_a_multiple_of_the_thickness(text: object, at_2_mm: float) -> None:
    changed = applied(read(limits={"sheet/hole-too-small": text}), STEEL, "sheet")
    rule = by_id(changed.rules, "sheet/hole-too-small")
    assert resolve(rule, STEEL, 2.0)["limit"].value == pytest.approx(at_2_mm)


def test_change_for_a_material_or_its_family_holds_for_that_only() -> None:
    changes = read(limits={"powder-bed/thin-wall": {"value": "2mm", "material": "nylon"}})
    assert resolve(applied(changes).rules[0], NYLON, None)["limit"].value == 2.0
    other = replace(NYLON, id="tpu", family="tpu")
    assert applied(changes, other).rules == RULES
    assert applied(changes, None).rules == RULES


def test_later_change_wins() -> None:
    first = read(limits={"powder-bed/thin-wall": "2mm"}, levels={"powder-bed/thin-wall": "off"})
    changes = first.then(read(limits={"powder-bed/thin-wall": "3mm"}, levels={"powder-bed/thin-wall": "note"}))
    rule = by_id(applied(changes).rules, "powder-bed/thin-wall")
    assert rule.level == "note"
    assert resolve(rule, NYLON, None)["limit"].value == 3.0


def test_rule_switched_off_is_told_with_the_place_that_says_so() -> None:
    changed = applied(read(levels={"soundness/*": "off"}))
    assert [x.id for x in changed.rules] == ["powder-bed/thin-wall", "sheet/hole-too-small"]
    assert changed.off == {"soundness/open-edge": "shop.toml, levels, soundness/*"}


def test_rule_switched_off_for_a_process_runs_for_the_other() -> None:
    changes = read(levels={"soundness/open-edge": {"level": "off", "process": "sheet"}})
    assert not applied(changes).off
    assert applied(changes, STEEL, "sheet").off


def test_several_changes_of_one_rule_are_a_list() -> None:
    changes = read(
        limits={"sheet/hole-too-small": [{"value": "1x", "material": "steel"}, {"value": "2x", "material": "acrylic"}]}
    )
    assert resolve(applied(changes, STEEL, "sheet").rules[1], STEEL, 2.0)["limit"].value == 2.0


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"limits": {"powder-bed/thin-wal": "1mm"}}, "powder-bed/thin-wall"),
        ({"limits": {"powder-bed/thin-wall:height": "1mm"}}, "its limits are limit"),
        ({"limits": {"soundness/open-edge": "1mm"}}, "its limits are none"),
        ({"limits": {"powder-bed/thin-wall": "thick"}}, "0.9mm"),
        ({"limits": {"powder-bed/thin-wall": True}}, "neither a text nor a number"),
        ({"limits": {"powder-bed/thin-wall": {"valu": "1mm"}}}, "value, source, material, process"),
        ({"limits": {"powder-bed/thin-wall": {"source": "x"}}}, "'value' is missing"),
        ({"limits": "1mm"}, "is a table"),
        ({"levels": {"soundness/open-edge": "fatal"}}, "error, warning, note or off"),
        ({"levels": {"sondness/*": "off"}}, "no rule 'sondness/*'"),
        ({"levels": {"soundness/*": {"level": "off", "process": "milling"}}}, "powder-bed, sheet"),
    ],
)
def test_wrong_change_is_refused_with_the_place_and_the_valid_words(data: dict[str, Any], words: str) -> None:
    with pytest.raises(RuleError) as caught:
        applied(read(**data))
    assert "shop.toml" in str(caught.value)
    assert words in str(caught.value)


def test_level_that_the_user_sets_holds_whatever_the_source() -> None:
    """A limit from common practice makes a warning by itself; an error only by the user's own word."""
    from lintsvc.rulebook.engine import _level
    from lintsvc.rulebook.rule import Hit

    shown = applied(read(levels={"sheet/hole-too-small": "error"}), STEEL, "sheet")
    rule = by_id(shown.rules, "sheet/hole-too-small")
    limit = resolve(rule, STEEL, 2.0)["limit"]
    from lintsvc.model.finding import LimitShown

    held = LimitShown(limit.value, limit.unit, limit.source)
    assert _level(rule, Hit(), held) == "error"
    assert _level(replace(rule, level_set=False), Hit(), held) == "warning"


def test_report_lists_a_rule_that_is_off_as_not_checked() -> None:
    from parts import reports

    changes = read(levels={"soundness/*": "off"})
    report = check_part(reports.housing_part(), Choices(), RULES, adjustments=changes).report
    assert ("soundness/open-edge", "switched off: shop.toml, levels, soundness/*") in [
        (x.rule, x.why) for x in report.not_checked
    ]
    assert not any(x.failed for x in report.not_checked)
