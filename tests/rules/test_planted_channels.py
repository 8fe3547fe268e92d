"""Rules about the folded part: collisions, impossible orders, sizes; found where planted, and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from parts.planted_channels import (
    Channel,
    deduction_forgotten,
    good,
    good_with_returns,
    returns_collide,
    sizes,
    too_deep,
)

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_packs

RULES = [rule for pack in load_packs(installed=False) if pack.name == "bend" for rule in pack.rules]
SEEDS = range(12)


def checked(channel: Channel) -> PartReport:
    return check_part(channel.part(), channel.choices(), RULES).report


def of(report: PartReport, rule: str) -> list[Finding]:
    return [x for x in report.findings if x.rule == rule]


@pytest.mark.parametrize("make", [good, good_with_returns])
@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_is_raised_on_a_sound_channel(make: Callable[[int], Channel], seed: int) -> None:
    report = checked(make(seed))
    assert [(x.rule, x.message) for x in report.findings] == []
    assert report.not_checked == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_returns_that_meet_collide(seed: int) -> None:
    channel = returns_collide(seed)
    report = checked(channel)
    (found,) = of(report, "bend/folded-collision")
    assert found.level == "error"
    # The returns hang on the first bend and on the last: lines after the four of the outline.
    assert found.where is not None and {4, 7} <= set(found.where.entities)
    back, base = channel.outside[0], channel.outside[2]
    inside = 2 * back - base
    assert found.measured is not None and found.measured.unit == "mm3"
    # Both shrunk by 0.05 mm all around.
    expected = (inside - 0.1) * (channel.width - 0.1) * (channel.t - 0.1)
    assert found.measured.value == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("seed", SEEDS)
def test_channel_deeper_than_wide_has_no_order(seed: int) -> None:
    report = checked(too_deep(seed))
    found = of(report, "bend/order-impossible")
    assert found and all(x.level == "warning" for x in found)
    assert {x.rule for x in report.findings} == {"bend/order-impossible"}
    assert "straight punch" in found[0].remedy
    assert found[0].where is not None and set(found[0].where.entities) <= {4, 5}


@pytest.mark.parametrize("seed", SEEDS)
def test_forgotten_deduction_is_seen_in_the_finished_size(seed: int) -> None:
    channel = deduction_forgotten(seed)
    (found,) = of(checked(channel), "bend/size-after-bending")
    # The base grows by both of its bends: handbook arithmetic, nothing folded.
    assert found.measured is not None and found.measured.value == pytest.approx(2 * channel.grow, abs=0.01)
    assert found.limit is not None and found.limit.value == 0.5


def test_size_may_be_stated_in_any_order() -> None:
    channel = good(1)
    long, middle, short = sizes(channel)
    for stated in ((short, long, middle), (middle, short, long)):
        assert not of(checked(replace(channel, meant=stated)), "bend/size-after-bending")
    assert of(checked(replace(channel, meant=(short, long, middle + 0.6))), "bend/size-after-bending")
    assert not of(checked(replace(channel, meant=(short, long, middle + 0.4))), "bend/size-after-bending")


def test_what_cannot_be_folded_is_not_checked() -> None:
    channel = good(1)
    part = channel.part()
    assert part.sheet is not None
    entities = tuple(replace(x, bend_direction=None) for x in part.sheet.entities)
    report = check_part(replace(part, sheet=replace(part.sheet, entities=entities)), channel.choices(), RULES).report
    why = {x.rule: x.why for x in report.not_checked}
    for rule in ("bend/folded-collision", "bend/order-impossible", "bend/size-after-bending"):
        assert "no direction" in why[rule]
