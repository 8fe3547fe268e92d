"""Faults planted in flats are found, at the place and on the entity they were planted, and nothing else is."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from parts.planted_flats import PLANTS, Expected, Flat, Plant, good

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_packs

RULES = [rule for pack in load_packs(installed=False) if pack.name == "sheet" for rule in pack.rules]
SEEDS = range(10)


@dataclass
class Score:
    """How many planted faults were found, and what was raised besides."""

    planted: int = 0
    missed: list[str] = field(default_factory=list)
    false_alarms: list[str] = field(default_factory=list)
    clean_parts: int = 0


def checked(flat: Flat) -> PartReport:
    return check_part(flat.part()[0], flat.choices(), RULES).report


def fits(finding: Finding, flat: Flat, expected: Expected) -> bool:
    if finding.where is None or math.dist(finding.where.point[:2], flat.placed(expected.at)) > expected.within_mm:
        return False
    if expected.name and not set(flat.part()[1][expected.name]) & set(finding.where.entities):
        return False
    if expected.level and finding.level != expected.level:
        return False
    if expected.measured is None:
        return True
    value = finding.measured.value if finding.measured is not None else math.nan
    return abs(value - expected.measured) <= max(0.02 * abs(expected.measured), 1e-3)


def planted() -> Iterator[tuple[str, Plant, int]]:
    for rule, plants in PLANTS.items():
        for plant in plants:
            for seed in SEEDS:
                yield rule, plant, seed


def test_every_rule_has_a_planted_fault() -> None:
    assert {x.id for x in RULES} == set(PLANTS)


def test_all_planted_faults_are_found_and_nothing_else() -> None:
    score = Score()
    for rule, plant, seed in planted():
        flat, expected = plant(good(seed), random.Random(seed))
        report = checked(flat)
        score.planted += 1
        found = [x for x in report.findings if x.rule == rule]
        if len(found) != expected.count or not any(fits(x, flat, expected) for x in found):
            score.missed.append(f"{rule} {plant.__name__} {seed}: {[(x.message, x.where) for x in found]}")
        for other in report.findings:
            if other.rule != rule and other.rule not in expected.also:
                score.false_alarms.append(f"{rule} {plant.__name__} {seed}: {other.rule} {other.message}")
    for seed in range(40):
        score.clean_parts += 1
        report = checked(good(seed))
        score.false_alarms += [f"good {seed}: {x.rule} {x.message}" for x in report.findings]
        assert not report.not_checked
    found_count = score.planted - len(score.missed)
    print(f"planted {score.planted}, found {found_count}, recall {found_count / score.planted:.1%}")
    print(f"false alarms {len(score.false_alarms)}, on {score.clean_parts} sound flats and beside planted faults")
    assert not score.missed, "\n".join(score.missed[:10])
    assert not score.false_alarms, "\n".join(score.false_alarms[:10])


@pytest.mark.parametrize("rule", PLANTS)
def test_the_same_flat_turned_and_moved_has_the_same_findings(rule: str) -> None:
    from dataclasses import replace

    for plant in PLANTS[rule]:
        flat, _ = plant(good(3), random.Random(3))
        one = checked(flat)
        other = checked(replace(flat, turn_deg=flat.turn_deg + 123.4, shift=(77.0, -13.0)))
        assert sorted(map(describe, one.findings)) == sorted(map(describe, other.findings))


def describe(finding: Finding) -> tuple[str, str, float, str]:
    value = -1.0 if finding.measured is None else round(finding.measured.value, 3)
    return finding.rule, finding.level, value, finding.fingerprint
