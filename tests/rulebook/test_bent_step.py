"""A STEP file of a bent part is checked as the sheet that it is, with its flat by the material's allowance."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import bent_solids as made
from parts.no_sheets import NO_SHEETS

from lintsvc.handbook.bending import k_factor
from lintsvc.handbook.materials import material
from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file


@pytest.fixture(scope="module")
def bracket(tmp_path_factory: pytest.TempPathFactory) -> Path:
    part = next(p for p in made.PARTS if p.name == "offset")
    return made.written(part.make(), tmp_path_factory.mktemp("bent") / "offset.step")


def test_report_shows_sheet_flat_and_bends(bracket: Path) -> None:
    report = check_file(bracket, Choices(material="aluminium-5052-h32"), []).report
    assert report.process == "sheet"
    part = report.part
    assert part is not None
    assert part.kind == "sheet"
    assert part.thickness_mm == pytest.approx(made.T)
    k = k_factor("aluminium-5052-h32", made.R, made.T).value
    assert part.flat_mm is not None
    assert sorted(part.flat_mm) == pytest.approx(sorted((80 + 2 * made.allowance(90, k), 60)), abs=1e-3)
    assert sorted((b.direction, b.angle_deg, b.radius_mm) for b in part.bends) == [
        ("down", pytest.approx(90), pytest.approx(made.R)),
        ("up", pytest.approx(90), pytest.approx(made.R)),
    ]
    assert all(b.k_factor == pytest.approx(k) for b in part.bends)


def test_word_of_the_shop_about_k_wins(bracket: Path) -> None:
    part = check_file(bracket, Choices(material="steel-mild", k_factor=0.5), []).report.part
    assert part is not None
    assert part.flat_mm is not None
    assert max(part.flat_mm) == pytest.approx(80 + 2 * made.allowance(90, 0.5), abs=1e-3)


def test_powder_bed_takes_the_solid_as_a_body(bracket: Path) -> None:
    report = check_file(bracket, Choices(process="powder-bed"), []).report
    assert report.part is not None
    assert report.part.kind == "body"
    assert report.part.watertight


def test_solid_that_is_no_sheet_says_why_it_was_taken_for_a_print(tmp_path: Path) -> None:
    boss = next(make for name, make, _ in NO_SHEETS if name == "boss")
    report = check_file(made.written(boss(), tmp_path / "boss.step"), Choices(), []).report
    assert report.process == "powder-bed"
    (why,) = (a.why for a in report.assumed if a.what == "process")
    assert "not a sheet part" in why
    assert "stands" in why
    notes = check_file(tmp_path / "boss.step", Choices(process="sheet"), []).report.notes
    assert any("Not a sheet part" in x and "stands" in x for x in notes)


@pytest.mark.parametrize(("said", "told"), [(made.T, False), (made.T + 0.009, False), (made.T + 0.011, True)])
def test_thickness_that_was_said_otherwise_is_told(bracket: Path, said: float, told: bool) -> None:
    report = check_file(bracket, Choices(process="sheet", thickness_mm=said), []).report
    assert any("checked as that" in x for x in report.notes) is told
    assert report.thickness is not None
    assert report.thickness.value == pytest.approx(made.T)


def test_pockets_that_the_flat_does_not_show_are_off_the_mass(tmp_path: Path) -> None:
    from build123d import Box, Location

    plate = Box(100, 60, 3) - Box(5, 4, 1).moved(Location((10, 5, 1)))
    part = check_file(
        made.written(plate, tmp_path / "plate.step"), Choices(material="aluminium-5052-h32"), []
    ).report.part
    assert part is not None
    assert part.kind == "sheet"
    assert part.area_mm2 == pytest.approx(100 * 60)
    # The pocket is 1 mm deep.
    assert part.volume_mm3 == pytest.approx(100 * 60 * 3 - 5 * 4 * 1)
    assert part.mass_g == pytest.approx(17_980 * material("aluminium-5052-h32").density_kg_m3.value * 1e-6)
