"""Whatever is drawn, the sheet rules end without failing; a looser limit never adds a finding; inch is mm."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts.any_report import ended_well
from parts.flatfiles import circle, dxf, line
from parts.planted_flats import PLANTS, good

from lintsvc.model.choices import Choices
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Polyline, Shape, Sheet
from lintsvc.model.units import Units
from lintsvc.rulebook.check import check_file, check_part
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

RULES = [rule for pack in load_packs(installed=False) if pack.name == "sheet" for rule in pack.rules]

# Coordinates on a coarse grid, so that things meet, lie on each other and cross in corners.
number = st.one_of(st.integers(-3, 12).map(lambda x: x * 10.0), st.floats(-40, 130).map(lambda x: round(x, 4)))
point = st.tuples(number, number)
size = st.one_of(st.floats(0.0, 40.0).map(lambda x: round(x, 4)), st.sampled_from([0.0, 5.0, 10.0]))
shape = st.one_of(
    st.builds(Line, point, point),
    st.builds(Circle, point, size),
    st.builds(Arc, point, size, st.floats(0, 360), st.floats(0, 720)),
    st.lists(point, min_size=1, max_size=9).map(lambda x: Polyline((*x, x[0]))),
)
plate = st.just(Polyline(((0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0), (0.0, 0.0))))


@st.composite
def parts(draw: Any) -> tuple[Part, Choices]:
    shapes = [*draw(st.lists(plate, max_size=2)), *draw(st.lists(shape, max_size=10))]
    roles = st.sampled_from(["cut", "cut", "cut", "unclear", "engrave", "bend", "note"])
    entities = tuple(Entity(i, f"#{i}", "x", "0", (x,), role=draw(roles)) for i, x in enumerate(shapes))
    choices = Choices(
        process="sheet",
        material=draw(st.sampled_from([None, "steel-mild", "acrylic", "pvc", "felt"])),
        thickness_mm=draw(st.sampled_from([None, 0.1, 2.0, 12.0])),
    )
    units = Units("mm", draw(st.booleans()), "drawn")
    return Part("x.dxf", "0", "DXF", "sheet", units, (100.0, 80.0, 0.0), sheet=Sheet(entities, 0.01)), choices


@settings(max_examples=100, deadline=None)
@given(parts())
def test_rules_end_without_failing(drawn: tuple[Part, Choices]) -> None:
    part, choices = drawn
    report = check_part(part, choices, RULES).report
    ended_well(report, RULES)
    assert all(x.where is not None for x in report.findings)


def loosened(rule: Rule, step: float) -> Rule:
    """The rule with all its limits loosened."""
    factor = 1 / step if rule.worse == "above" else step
    limits = (replace(x, value=x.value * factor, at_least_mm=x.at_least_mm * factor) for x in rule.limits)
    return replace(rule, limits=tuple(limits))


@pytest.mark.parametrize("rule", [x for x in RULES if x.limits], ids=lambda x: x.id)
def test_a_looser_limit_never_adds_a_finding(rule: Rule) -> None:
    found_any = False
    for plant in PLANTS[rule.id]:
        for seed in range(3):
            flat, _ = plant(good(seed), random.Random(seed))
            part, _ = flat.part()
            before = 1000
            for step in (1.0, 0.7, 0.4, 0.1, 0.01):
                found = len(check_part(part, flat.choices(), [loosened(rule, step)]).report.findings)
                assert found <= before
                found_any |= found > 0
                before = found
    assert found_any


def test_all_limits_are_common_practice_or_memory_and_make_no_error() -> None:
    for rule in RULES:
        if rule.limits:
            assert {x.source.kind for x in rule.limits} <= {"common-practice", "memory"}
            assert rule.level in ("warning", "note")


def test_no_limit_for_a_material_is_not_a_pass() -> None:
    part, _ = good(1).part()
    report = check_part(part, Choices(process="sheet", material="polycarbonate", thickness_mm=3.0), RULES).report
    why = {x.rule: x.why for x in report.not_checked}
    assert "no limit is known for" in why["sheet/kerf-eats-detail"]
    assert "sheet/kerf-eats-detail" not in report.checked


def test_what_is_not_given_is_said() -> None:
    part, _ = good(1).part()
    report = check_part(part, Choices(process="sheet"), RULES).report
    why = {x.rule: x.why for x in report.not_checked}
    assert why["sheet/unsafe-to-laser"] == "no material is given"
    assert why["sheet/web-too-thin"] == "no material is given"


def test_many_equal_holes_are_one_finding_and_many_unequal_ones_are_few() -> None:
    flat = good(2)
    equal = flat.plus("new", [Circle((30.0 + 4 * k, flat.free[1]), 0.8) for k in range(20)])
    found = check_part(equal.part()[0], equal.choices(), RULES).report.findings
    holes = [x for x in found if x.rule == "sheet/hole-too-small"]
    assert len(holes) == 1 and holes[0].message.startswith("20 holes are 1.6 mm across")
    assert holes[0].where is not None and len(holes[0].where.entities) == 20
    many: list[Shape] = [Circle((30.0 + 3 * (k % 30), 50.0 + 4 * (k // 30)), 0.3 + 0.006 * k) for k in range(90)]
    unequal = flat.plus("new", many)
    found = check_part(unequal.part()[0], unequal.choices(), RULES).report.findings
    holes = [x for x in found if x.rule == "sheet/hole-too-small"]
    assert len(holes) == 20
    assert sum(len(x.where.entities) for x in holes if x.where is not None) == 90


def test_a_copy_in_inch_has_the_same_findings(tmp_path: Path) -> None:
    def drawing(unit: float) -> str:
        holes = "".join(circle(x / unit, 20 / unit, r / unit) for x, r in ((10, 0.7), (30, 5), (41.5, 5), (70, 0.9)))
        ends = line((0, 0), (100 / unit, 0)) + line((100 / unit, 0), (100 / unit, 60 / unit))
        ends += line((100 / unit, 60 / unit), (0, 60 / unit)) + line((0, 60 / unit), (0, 0.05 / unit))
        return ends + holes

    found = []
    for unit, code in ((1.0, 4), (25.4, 1)):
        path = tmp_path / f"{code}.dxf"
        path.write_text(dxf(drawing(unit), units=code))
        choices = Choices(process="sheet", material="steel-mild", thickness_mm=2.0)
        found.append(check_file(path, choices, RULES).report.findings)
    mm, inch = ([(x.rule, x.level, round(x.measured.value, 6) if x.measured else None) for x in some] for some in found)
    assert mm == inch
    assert {x[0] for x in mm} == {"sheet/gap-in-contour", "sheet/hole-too-small", "sheet/web-too-thin"}
