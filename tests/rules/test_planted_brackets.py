"""Faults planted in brackets are found, at the place and on the entity they were planted, and nothing else is."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from parts.planted_brackets import PLANTS, Bracket, Plant, good

from lintsvc.model.report import PartReport
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_packs

PACKS = ("bend", "thread", "countersink")
RULES = [rule for pack in load_packs(installed=False) if pack.name in PACKS for rule in pack.rules]
#: Rules about the bent part as a whole have their own generator.
OF_THE_FOLDED_PART = {"bend/folded-collision", "bend/order-impossible", "bend/size-after-bending"}
SEEDS = range(12)


def checked(bracket: Bracket) -> PartReport:
    return check_part(bracket.part(), bracket.choices(), RULES).report


def test_every_rule_has_a_planted_fault() -> None:
    assert {x.id for x in RULES} - OF_THE_FOLDED_PART == set(PLANTS)


@pytest.mark.parametrize("seed", range(40))
def test_nothing_is_raised_on_a_sound_bracket(seed: int) -> None:
    report = checked(good(seed))
    assert [(x.rule, x.message) for x in report.findings] == []
    assert report.not_checked == ()
    assert len(report.checked) == len(RULES)


PLANTED = [(rule, x) for rule, plants in PLANTS.items() for x in plants]


@pytest.mark.parametrize(("rule", "plant"), PLANTED, ids=[f"{rule}:{x.__name__}" for rule, x in PLANTED])
def test_planted_fault_is_found_where_it_is(rule: str, plant: Plant) -> None:
    others: Counter[str] = Counter()
    for seed in SEEDS:
        bracket, expected = plant(good(seed), random.Random(seed))
        findings = checked(bracket).findings
        found = [x for x in findings if x.rule == rule]
        assert len(found) == expected.count, (seed, [x.message for x in found])
        _, names = bracket.entities()
        there = bracket.placed(expected.at)
        wanted = (expected.names,) if isinstance(expected.names, str) else expected.names
        assert any(
            x.where is not None
            and math.dist(x.where.point[:2], there) <= expected.within_mm
            and (not wanted or {names[n] for n in wanted if n in names} & set(x.where.entities))
            for x in found
        ), (seed, there, [(x.where, x.message) for x in found])
        others.update(x.rule for x in findings if x.rule != rule and x.rule not in expected.also)
    # A head too big for the sheet may also come too near to a bend.
    if rule == "countersink/deeper-than-sheet":
        others.pop("countersink/near-bend", None)
    assert not others


def test_the_same_bracket_turned_and_moved_has_the_same_findings() -> None:
    for plants in PLANTS.values():
        bracket, _ = plants[0](good(3), random.Random(3))
        one = checked(bracket)
        other = checked(replace(bracket, turn_deg=bracket.turn_deg + 123.4, shift=(77.0, -13.0)))
        assert [describe(x) for x in one.findings] == [describe(x) for x in other.findings]


def describe(finding: Any) -> tuple[object, ...]:
    measured = None if finding.measured is None else round(finding.measured.value, 4)
    return finding.rule, finding.level, measured, finding.fingerprint


def test_forty_equal_faults_are_one_finding() -> None:
    bracket = good(1)
    holes = [replace(bracket.holes[2], centre=(12.0 + 2.5 * i, bracket.length / 2), diameter_mm=1.0) for i in range(20)]
    crowded = replace(bracket, holes=holes, tapped=[("M2", i) for i in range(20)], sunk=[])
    found = [x for x in checked(crowded).findings if x.rule == "thread/pilot-hole-wrong"]
    assert len(found) == 1
    assert found[0].where is not None and len(found[0].where.entities) == 20
    assert found[0].message.startswith("20 holes for M2x0.4 are drawn 1 mm across")
