"""Bodies that lie on each other are told once, by the rule for that; bodies a hair apart by the one for clearance."""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh

from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

NAMES = ("powder-bed/narrow-clearance", "soundness/overlapping-bodies")
RULES = [x for pack in load_packs() for x in pack.rules if x.id in NAMES]


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=(low, high))


@pytest.mark.parametrize(
    ("lid_low_mm", "found"),
    [
        # The lid lies on the posts, and a hair above the block between them: that is no second fault.
        (10.0, ["soundness/overlapping-bodies"]),
        # A hair off everything, it touches nothing by its numbers, and will fuse.
        (10.003, ["powder-bed/narrow-clearance"]),
        (12.0, []),
    ],
)
def test_two_bodies_that_touch_are_told_once(tmp_path: Path, lid_low_mm: float, found: list[str]) -> None:
    block = trimesh.boolean.union([box((0, 0, 0), (40, 20, 9.995)), box((0, 0, 0), (10, 20, 10))])
    lid = box((-2, -2, lid_low_mm), (42, 22, lid_low_mm + 8))
    path = tmp_path / "lid.stl"
    trimesh.util.concatenate([block, lid]).export(path)
    report = check_file(path, Choices(process="powder-bed", material="pa12", units="mm"), RULES).report
    assert [x.rule for x in report.findings] == found
    assert not report.not_checked
