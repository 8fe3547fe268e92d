"""The engine: a rule that fails loses only itself, no limit is not a pass, the worst comes first."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from lintsvc.model.body import Body
from lintsvc.model.choices import Choices
from lintsvc.model.finding import Where
from lintsvc.model.limit import Limit
from lintsvc.model.material import Material, Value
from lintsvc.model.part import Part
from lintsvc.model.source import COMMON_PRACTICE, Source
from lintsvc.model.units import Units
from lintsvc.rulebook.adjust import Adjustments, LimitChange, adjust
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.engine import run_rules
from lintsvc.rulebook.rule import CannotCheck, Hit, Rule, rule, rule_of

NYLON = Material("pa12", "PA12", "nylon", ("powder-bed",), "parts", Value(1000.0, COMMON_PRACTICE))
STEEL = Material("steel-mild", "Mild steel", "steel", ("sheet",), "brackets", Value(7850.0, COMMON_PRACTICE))
FIRM = Source("standard", "A standard")
PLACE = Where((0.0, 0.0, 0.0), ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)))


def body_part() -> Checked:
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], np.float64)
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], np.int32)
    units = Units("mm", True, "said")
    part = Part("a.stl", "0" * 64, "STL", "body", units, (1.0, 1.0, 1.0), body=Body(vertices, faces))
    return Checked(part, Choices(process="powder-bed", material="pa12"), NYLON)


def make(function: object, id: str = "test/rule", **more: object) -> Rule:
    values: dict[str, object] = {
        "process": "any", "kind": "any", "level": "warning", "since": "0.1",
        "message": "It is {measured}, less than {limit}.", "remedy": "Mend it to {limit}.",
        "limits": (Limit("any", 1.0, "mm", COMMON_PRACTICE),),
    }  # fmt: skip
    values.update(more)
    function.__doc__ = "A title.\n\nMeasured: x.\nIgnore when: y."  # type: ignore[attr-defined]
    found = rule_of(rule(id=id, **values)(function))  # type: ignore[arg-type]
    assert found is not None
    return found


def test_a_hit_becomes_a_finding_with_words_and_limit() -> None:
    def check(part: Checked, limit: float) -> Iterable[Hit]:
        yield Hit(limit / 2, PLACE)

    outcome = run_rules([make(check)], body_part())
    (finding,) = outcome.findings
    assert finding.message == "It is 0.5 mm, less than 1 mm."
    assert finding.remedy == "Mend it to 1 mm."
    assert finding.limit is not None
    assert finding.limit.source == COMMON_PRACTICE
    assert outcome.checked == ("test/rule",)


def test_a_crashing_rule_loses_only_itself() -> None:
    def crash(part: Checked) -> Iterable[Hit]:
        yield Hit(0.5, PLACE)
        raise ZeroDivisionError("oh")

    def fine(part: Checked) -> Iterable[Hit]:
        yield Hit(0.7, PLACE)

    outcome = run_rules([make(crash, "test/crash"), make(fine, "test/fine")], body_part())
    assert {x.rule for x in outcome.findings} == {"test/crash", "test/fine"}
    assert outcome.checked == ("test/fine",)
    (lost,) = outcome.not_checked
    assert lost.failed
    assert "ZeroDivisionError" in lost.why


def test_no_limit_for_the_material_is_not_a_pass() -> None:
    def check(part: Checked, limit: float) -> Iterable[Hit]:
        return []

    outcome = run_rules([make(check, limits=(Limit("steel", 1.0, "mm", COMMON_PRACTICE),))], body_part())
    assert outcome.checked == ()
    assert outcome.not_checked[0].why == "no limit is known for PA12"
    assert not outcome.not_checked[0].failed


def test_a_rule_may_say_that_it_cannot_check() -> None:
    def check(part: Checked) -> Iterable[Hit]:
        raise CannotCheck("the direction of build is not known")

    outcome = run_rules([make(check)], body_part())
    assert outcome.not_checked[0].why == "the direction of build is not known"


@pytest.mark.parametrize(("material", "value"), [("pa12", 3.0), ("nylon", 2.0), ("any", 1.0)])
def test_the_closest_limit_wins(material: str, value: float) -> None:
    rows = {"any": 1.0, "nylon": 2.0, "pa12": 3.0}
    limits = tuple(Limit(x, v, "mm", COMMON_PRACTICE) for x, v in rows.items() if v <= value)
    seen: list[float] = []

    def check(part: Checked, limit: float) -> Iterable[Hit]:
        seen.append(limit)
        return []

    run_rules([make(check, limits=limits)], body_part())
    assert seen == [value]


def test_an_unfirm_limit_makes_a_warning_even_in_an_error_rule() -> None:
    limits = (Limit("any", 1.0, "mm", FIRM), Limit("pa12", 1.0, "mm", FIRM))

    def check(part: Checked, limit: float) -> Iterable[Hit]:
        yield Hit(0.5, PLACE)
        yield Hit(0.5, PLACE, limit=0.9, limit_source=COMMON_PRACTICE)

    outcome = run_rules([make(check, level="error", limits=limits)], body_part())
    assert sorted(x.level for x in outcome.findings) == ["error", "warning"]


def test_a_factor_of_an_unknown_thickness_is_not_checked() -> None:
    def check(part: Checked, limit: float) -> Iterable[Hit]:
        return []

    outcome = run_rules([make(check, limits=(Limit("any", 1.0, "x thickness", COMMON_PRACTICE),))], body_part())
    assert "thickness" in outcome.not_checked[0].why


def test_the_worst_comes_first_and_fingerprints_differ() -> None:
    def check(part: Checked, limit: float) -> Iterable[Hit]:
        for value in (0.9, 0.1, 0.5, 0.5):
            yield Hit(value, PLACE)

    findings = run_rules([make(check)], body_part()).findings
    assert [x.measured.value for x in findings if x.measured] == [0.1, 0.5, 0.5, 0.9]
    assert len({x.fingerprint for x in findings}) == 4


def test_a_rule_for_another_process_does_not_run() -> None:
    def check(part: Checked) -> Iterable[Hit]:
        yield Hit(0.5, PLACE)

    outcome = run_rules([make(check, process="sheet")], body_part())
    assert outcome == type(outcome)((), (), ())


def test_a_limit_can_be_changed_with_its_own_source() -> None:
    def check(part: Checked, limit: float) -> Iterable[Hit]:
        yield Hit(0.5, PLACE)

    shop = Source("shop", "Our shop")
    changes = Adjustments(limits=(LimitChange("test/rule", "limit", "0.6mm", shop, None, None, "here"),))
    outcome = run_rules(adjust([make(check)], changes, "powder-bed", NYLON).rules, body_part())
    assert outcome.findings[0].limit is not None
    assert outcome.findings[0].limit.value == 0.6
    assert outcome.findings[0].limit.source == shop
