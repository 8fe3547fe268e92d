"""Materials that no laser cuts have limits too; and the webs of a living hinge are told as what they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import flatfiles as made

from lintsvc.handbook.materials import materials
from lintsvc.model.choices import Choices
from lintsvc.model.finding import Finding
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

NAMES = ("sheet/web-too-thin", "sheet/hole-too-small", "sheet/slot-too-narrow", "sheet/narrow-neck")
RULES = [x for pack in load_packs() for x in pack.rules if x.id in NAMES]


def found(folder: Path, drawing: str, material: str, thickness: float) -> list[Finding]:
    (folder / "a.dxf").write_text(made.dxf(drawing))
    said = Choices(process="sheet", material=material, thickness_mm=thickness)
    report = check_file(folder / "a.dxf", said, RULES).report
    assert not report.not_checked, report.not_checked
    return list(report.findings)


@pytest.mark.parametrize(
    ("material", "thickness", "hole", "web"),
    [
        # Common practice, no source: see the rules' limits.
        ("cork", 1.5, 1.5, 1.5), ("rubber", 3.0, 3.0, 2.25), ("felt", 1.0, 1.5, 1.5), ("cardboard", 4.0, 4.0, 3.0),
        ("polycarbonate", 3.0, 1.5, 3.0), ("g10", 1.0, 1.0, 1.5),
    ],
)  # fmt: skip
def test_holes_and_webs_either_side_of_the_limit(
    tmp_path: Path, material: str, thickness: float, hole: float, web: float
) -> None:
    blank = made.rectangle(80, 60)
    for off, rules in ((0.05, []), (-0.05, ["sheet/hole-too-small"])):
        drawing = blank + made.circle(40, 30, (hole + off) / 2)
        assert [x.rule for x in found(tmp_path, drawing, material, thickness)] == rules
    for off, rules in ((0.05, []), (-0.05, ["sheet/web-too-thin"])):
        drawing = blank + made.circle(20, 30, 8) + made.circle(36 + web + off, 30, 8)
        hits = found(tmp_path, drawing, material, thickness)
        assert [x.rule for x in hits] == rules
        # Nobody's standard: never more than a warning.
        assert all(x.level == "warning" for x in hits)


def test_every_sheet_material_has_limits_for_holes_webs_and_slots(tmp_path: Path) -> None:
    for each in materials():
        if "sheet" in each.processes:
            found(tmp_path, made.rectangle(80, 60), each.id, each.all_stock_mm[0])


def slits(rows: int, along: int) -> str:
    """A field of slits 20 x 0.6 mm, staggered, 2 mm apart."""
    return "".join(
        made.rectangle(20, 0.6, 8 + 25 * j + (12.5 if i % 2 else 0), 8 + 2.6 * i)
        for i in range(rows)
        for j in range(along)
    )


def test_webs_of_a_living_hinge_are_one_note(tmp_path: Path) -> None:
    hits = found(tmp_path, made.rectangle(130, 50) + slits(12, 4), "birch-plywood", 3.0)
    (hinge,) = (x for x in hits if x.rule == "sheet/web-too-thin" and "living hinge" in x.message)
    assert hinge.level == "note"
    assert hinge.measured is not None
    assert hinge.measured.value == pytest.approx(2.0)


def test_two_slits_side_by_side_are_no_hinge(tmp_path: Path) -> None:
    hits = found(tmp_path, made.rectangle(130, 50) + slits(2, 1), "birch-plywood", 3.0)
    (web,) = (x for x in hits if x.rule == "sheet/web-too-thin")
    assert (web.level, "living hinge" in web.message) == ("warning", False)


@pytest.mark.parametrize(
    ("cut", "findings", "why"),
    [
        ("laser", 1, ""),
        # A blade has no width. A cutter of 2 to 6 mm leaves far more than the 0.075 mm of a beam: no number is said.
        ("knife", 0, ""),
        ("router", 0, "how wide a router cuts"),
        ("water-jet", 0, "how wide a water-jet cuts"),
    ],
)
def test_radius_that_a_beam_leaves_is_said_of_a_beam_alone(tmp_path: Path, cut: str, findings: int, why: str) -> None:
    notched = made.polyline([(0, 0), (60, 0), (60, 40), (30, 40), (30, 20), (0, 20)])
    (tmp_path / "a.dxf").write_text(made.dxf(notched))
    rules = [x for pack in load_packs() for x in pack.rules if x.id == "sheet/sharp-inside-corner"]
    said = Choices(process="sheet", material="aluminium-5052-h32", thickness_mm=3.0, cut=cut)
    report = check_file(tmp_path / "a.dxf", said, rules).report
    assert len(report.findings) == findings
    assert [x.why.endswith(why) for x in report.not_checked] == ([True] if why else [])
