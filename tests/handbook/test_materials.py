"""Materials: ids, sources, values that were read, and what must never be lasered."""

from __future__ import annotations

import pytest

from lintsvc.handbook.materials import material, materials
from lintsvc.model.material import Material, Value

EXPECTED = (
    *("pa12", "pa11", "pa12-glass", "tpu"),
    *("aluminium-5052-h32", "aluminium-6061-t6", "aluminium-3003-h14", "steel-mild", "steel-galvanised"),
    *("stainless-304", "copper", "brass", "acrylic", "polycarbonate", "pom", "pvc"),
    *("birch-plywood", "mdf", "cork", "rubber", "felt", "cardboard", "g10", "carbon-plate"),
)


def values_of(found: Material) -> list[Value]:
    given = (found.density_kg_m3, found.youngs_modulus_gpa, found.yield_mpa, found.ultimate_mpa)
    return [x for x in given if x is not None]


@pytest.mark.parametrize("id", EXPECTED)
def test_material_is_there(id: str) -> None:
    assert material(id).id == id


@pytest.mark.parametrize("found", materials(), ids=lambda x: x.id)
def test_every_material_is_whole(found: Material) -> None:
    assert found.name and found.good_for and found.processes
    assert all(value.value > 0 and value.source.text for value in values_of(found))
    assert 100 < found.density_kg_m3.value < 10_000
    assert bool(found.stock_mm or found.stock_in) == (found.stock_source is not None)
    assert ("sheet" in found.processes) == bool(found.stock_mm) == bool(found.stock_in)
    assert list(found.stock_mm) == sorted(found.stock_mm)
    if found.laser != "yes":
        assert found.laser_why and found.laser_source is not None
    if found.yield_mpa is not None and found.ultimate_mpa is not None:
        assert found.yield_mpa.value <= found.ultimate_mpa.value


def test_values_read_in_the_aluminum_design_manual() -> None:
    # Aluminum Design Manual, Table 3.3-1M: 5052-H32 Ftu 215, Fty 160, E 70 300 MPa.
    found = material("aluminium-5052-h32")
    assert found.yield_mpa is not None and found.yield_mpa.value == 160
    assert found.ultimate_mpa is not None and found.ultimate_mpa.value == 215
    assert found.youngs_modulus_gpa is not None and found.youngs_modulus_gpa.value == 70.3
    assert {x.source.kind for x in values_of(found)} == {"handbook"}


@pytest.mark.parametrize("id", ["pvc", "neoprene", "ptfe"])
def test_halogenated_sheet_is_never_lasered(id: str) -> None:
    found = material(id)
    assert found.laser == "never"
    # Says why, and what instead.
    assert "hydrogen" in found.laser_why and "use" in found.laser_why


@pytest.mark.parametrize("id", ["polycarbonate", "abs", "g10", "carbon-plate"])
def test_sheet_that_lasers_badly_names_another_way(id: str) -> None:
    found = material(id)
    assert found.laser == "avoid"
    assert "rout" in found.laser_why


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("aluminium", "aluminium-5052-h32"),
        ("aluminum-5052-h32", "aluminium-5052-h32"),
        ("6061", "aluminium-6061-t6"),
        ("mild steel", "steel-mild"),
        ("steal", "steel-mild"),
        ("stainles", "stainless-304"),
        ("PA12", "pa12"),
        ("alu", "aluminium-5052-h32"),
        ("vinyl", "pvc"),
        ("accrylic", "acrylic"),
    ],
)
def test_unknown_id_names_close_ones(said: str, meant: str) -> None:
    with pytest.raises(ValueError, match=f"close ones are .*{meant}"):
        material(said)


def test_hopeless_id_lists_them_all() -> None:
    with pytest.raises(ValueError, match=r"the handbook has pa12, .*carbon-plate"):
        material("xyzzy")


def test_stock_in_both_units_comes_in_mm() -> None:
    stock = material("aluminium-5052-h32").all_stock_mm
    assert 2.5 in stock and 1.6002 not in stock
    assert min(abs(x - 0.063 * 25.4) for x in stock) < 0.001
