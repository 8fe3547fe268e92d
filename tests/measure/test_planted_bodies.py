"""Faults planted at known places in clean parts: each is found there, at its value, and nothing else is."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from parts import bodies, planted_bodies

from lintsvc.model.choices import Choices
from lintsvc.model.finding import Finding
from lintsvc.model.part import Part
from lintsvc.model.units import Units
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_pack
from lintsvc.rulebook.rule import Rule

SEEDS = range(2)


@cache
def rules() -> tuple[Rule, ...]:
    return load_pack(Path(__file__).resolve().parents[2] / "rules" / "powder-bed").rules


def findings(mesh: bodies.Mesh) -> tuple[Finding, ...]:
    """What the powder-bed rules find, for PA12."""
    body = bodies.body(mesh)
    x, y, z = np.ptp(body.vertices, axis=0).tolist()
    part = Part("part.stl", "0" * 64, "STL", "body", Units("mm", True, "a test"), (x, y, z), body)
    report = check_part(part, Choices(process="powder-bed", material="pa12"), rules()).report
    assert not report.not_checked
    return report.findings


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("base", planted_bodies.BASES)
def test_clean_part_raises_nothing(base: str, seed: int) -> None:
    planted = planted_bodies.plant(base, "", seed)
    assert [x.message for x in findings(planted_bodies.variant(planted.mesh, seed))] == []


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("base", "fault"),
    [(b, f) for b in planted_bodies.BASES for f in planted_bodies.FAULTS if planted_bodies.fits(b, f)],
)
def test_fault_is_found_within_a_millimetre_and_two_percent_and_nothing_else(base: str, fault: str, seed: int) -> None:
    planted = planted_bodies.plant(base, fault, seed)
    found = findings(planted_bodies.variant(planted.mesh, seed))
    assert [x.rule for x in found] == [planted.rule], [x.message for x in found]
    assert found[0].measured is not None
    assert found[0].measured.value == pytest.approx(planted.value, rel=0.02)
    assert found[0].where is not None
    assert planted.distance(found[0].where.point) < 1.0
