"""Every row of the table says what a check of its own would say; mass and stiffness follow their formulas."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from lintsvc.demo import write_demo
from lintsvc.handbook.materials import material, materials
from lintsvc.model.choices import Choices
from lintsvc.reports import material_table
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.compare_materials import MaterialTable, Row, compare_materials
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule


@pytest.fixture(scope="session")
def gauge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gauge")
    write_demo(folder)
    return folder


@cache
def rules() -> tuple[Rule, ...]:
    return tuple(rule for pack in load_packs(()) for rule in pack.rules)


@cache
def table_of(path: Path, choices: Choices, most_seconds: float = math.inf) -> MaterialTable:
    checked = check_file(path, choices, rules()).checked
    assert checked is not None
    return compare_materials(checked, rules(), most_seconds=most_seconds)


BRACKET = Choices(process="sheet", material="aluminium-5052-h32", thickness_mm=2.5)


def of_own(path: Path, choices: Choices, row: Row) -> None:
    """Hold a row against a check that knows nothing of the table."""
    own = check_file(path, replace(choices, material=row.material.id, thickness_mm=row.thickness_mm), rules()).report
    assert own.part is not None
    counts = Counter(x.level for x in own.findings)
    assert {key: value for key, value in row.counts.items() if value} == dict(counts), row.material.id
    assert row.not_checked == len(own.not_checked)
    assert row.mass_g == pytest.approx(own.part.mass_g)
    assert (row.worst and row.worst.fingerprint) == (own.findings[0].fingerprint if own.findings else None)


@pytest.mark.parametrize("name", ["faulty/bracket.dxf", "good/gasket.dxf"])
def test_each_row_of_a_flat_is_what_its_own_check_says(gauge: Path, name: str) -> None:
    rows = table_of(gauge / name, BRACKET).rows
    assert len(rows) > 100
    for row in rows[::7]:
        of_own(gauge / name, BRACKET, row)


def test_each_row_of_a_body_is_what_its_own_check_says(gauge: Path) -> None:
    choices = Choices(process="powder-bed", material="pa12")
    rows = table_of(gauge / "faulty/housing.stl", choices).rows
    assert [x.material.id for x in rows] == [x.id for x in materials() if "powder-bed" in x.processes]
    for row in rows:
        of_own(gauge / "faulty/housing.stl", choices, row)


def test_bending_stiffness_goes_with_the_modulus_and_the_cube_of_the_thickness(gauge: Path) -> None:
    # Kirchhoff plate theory: D = E t^3 / 12 (1 - nu^2).
    rows = {(x.material.id, x.thickness_mm): x for x in table_of(gauge / "faulty/bracket.dxf", BRACKET).rows}
    assert rows["aluminium-5052-h32", 2.5].chosen
    assert rows["aluminium-5052-h32", 2.5].stiffness == pytest.approx(1.0)
    assert rows["aluminium-5052-h32", 5.0].stiffness == pytest.approx(8.0)
    steel, aluminium = (material(x).youngs_modulus_gpa for x in ("steel-mild", "aluminium-5052-h32"))
    assert steel is not None
    assert aluminium is not None
    assert rows["steel-mild", 2.5].stiffness == pytest.approx(steel.value / aluminium.value)
    # No modulus in the handbook: no number.
    assert rows["cork", 3.0].stiffness is None


def test_one_row_is_the_chosen_one_even_when_its_thickness_is_not_stocked(gauge: Path) -> None:
    # The first piece is the chosen row and, having no time, no other.
    rows = table_of(gauge / "good/bracket.dxf", replace(BRACKET, thickness_mm=2.7), 0.0).rows
    chosen = [x for x in rows if x.chosen]
    assert [(x.material.id, x.thickness_mm, x.stocked) for x in chosen] == [("aluminium-5052-h32", 2.7, False)]


def test_without_a_chosen_material_nothing_is_relative(gauge: Path) -> None:
    rows = table_of(gauge / "good/gasket.dxf", Choices(process="sheet")).rows
    assert rows
    assert not any(x.chosen for x in rows)
    assert all(x.stiffness is None for x in rows)


def test_pieces_make_the_whole_table_and_the_first_has_every_material(gauge: Path) -> None:
    checked = check_file(gauge / "good/gasket.dxf", replace(BRACKET, material="rubber"), rules()).checked
    assert checked is not None
    whole = compare_materials(checked, rules())
    assert whole.next is None
    assert whole.of == len(whole.rows)
    first = compare_materials(checked, rules(), most_seconds=0.0)
    assert [x.chosen for x in first.rows] == [True]
    assert (first.of, first.next) == (whole.of, 1)
    count = sum("sheet" in x.processes for x in materials())
    start, rows = 1, list(first.rows)
    while start is not None and len(rows) < count:
        piece = compare_materials(checked, rules(), start=start, most_seconds=0.0)
        rows += piece.rows
        start = piece.next
    # One row a material comes first; the rest is the rest of the table.
    assert len({x.material.id for x in rows}) == count
    rest = compare_materials(checked, rules(), start=start or 0)
    shown = [repr(x) for x in (*rows, *rest.rows)]
    assert sorted(shown) == sorted(repr(x) for x in whole.rows)
    assert rest.next is None
    assert not compare_materials(checked, rules(), start=whole.of).rows


def test_narrow_places_are_searched_once_for_all_thicknesses(gauge: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lintsvc.measure import flats

    checked = check_file(gauge / "good/gasket.dxf", replace(BRACKET, material="rubber"), rules()).checked
    assert checked is not None
    searches: list[float] = []
    search = flats.narrow_places
    monkeypatch.setattr(flats, "narrow_places", lambda *given: searches.append(given[2]) or search(*given))
    assert len(compare_materials(checked, rules()).rows) > 200
    assert len(searches) == 1


def test_the_text_says_by_how_much_the_worst_limit_is_missed(gauge: Path) -> None:
    text = material_table.text(table_of(gauge / "faulty/housing.stl", Choices(material="pa12")))
    lines = [x for x in text.splitlines() if x.startswith("→")]
    assert len(lines) == 1
    assert "limit" in lines[0]
    assert "pa12" in lines[0]
