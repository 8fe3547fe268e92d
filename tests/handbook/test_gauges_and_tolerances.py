"""Gauges against their formulas and US law, tolerances against ISO 2768-1 and ISO 286-1, and a second library."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pressfit.tables import it_value

from lintsvc.handbook import fits, gauges, laser, tolerances
from lintsvc.handbook.materials import material, materials
from lintsvc.handbook.sources import source
from lintsvc.handbook.tables import rows
from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import BadChoice, choices_from_words, choices_to_words

INCH = 25.4


@pytest.mark.parametrize(("metal", "inch"), [("stainless", 0.0625), ("steel", 0.0598), ("aluminium", 0.0508)])
def test_16_gauge(metal, inch: float) -> None:  # type: ignore[no-untyped-def]
    # Machinery's Handbook, 31st ed., p. 1453, Table 20; 15 USC 206.
    assert gauges.gauge_thickness(16, metal).value / INCH == pytest.approx(inch, abs=0.0001)
    assert gauges.nearest_gauge(inch * INCH, metal) == 16


@pytest.mark.parametrize("gauge", gauges.gauges())
def test_gauge_table_agrees_with_its_formulas(gauge: int) -> None:
    ounces = next(float(x["us_standard_oz_ft2"]) for x in rows("gauges.csv") if int(x["gauge"]) == gauge)
    near = pytest.approx
    assert gauges.gauge_thickness(gauge, "stainless").value == near(gauges.us_standard_gauge_mm(ounces), abs=0.005)
    assert gauges.gauge_thickness(gauge, "steel").value == near(gauges.manufacturers_gauge_mm(ounces), abs=0.005)
    assert gauges.gauge_thickness(gauge, "aluminium").value == near(gauges.american_wire_gauge_mm(gauge), abs=0.005)


# Stock of galvanised sheet by gauge, in inches: written down apart from the formula, both from memory.
@pytest.mark.parametrize(("gauge", "inch"), [(20, 0.0396), (18, 0.0516), (16, 0.0635), (14, 0.0785), (12, 0.1084)])
def test_galvanised_gauges_hold_the_zinc(gauge: int, inch: float) -> None:
    found = gauges.gauge_thickness(gauge, "galvanised")
    assert found.value / INCH == pytest.approx(inch, abs=0.0001)
    assert found.source.kind == "memory"
    assert found.value > gauges.gauge_thickness(gauge, "steel").value


@pytest.mark.parametrize(
    ("id", "mm"),
    [("steel-mild", 1.519), ("steel-galvanised", 1.613), ("stainless-304", 1.587), ("aluminium-5052-h32", 1.290)],
)
def test_a_gauge_is_another_thickness_in_every_metal(id: str, mm: float) -> None:
    for word in ("16ga", "16 ga", "16 Gauge", "16-gauge"):
        choices = gauges.with_gauge(choices_from_words({"thickness": word, "material": id}))
        assert choices.thickness_mm == pytest.approx(mm, abs=0.001)
        assert choices_to_words(choices)["thickness"] == "16ga"


@pytest.mark.parametrize("id", [x.id for x in materials() if not x.gauges])
def test_no_table_is_taken_for_a_material_without_gauges(id: str) -> None:
    with pytest.raises(BadChoice, match="no gauges are known for"):
        gauges.with_gauge(Choices(material=id, gauge=16))


def test_no_table_is_taken_without_a_material() -> None:
    with pytest.raises(BadChoice, match=r"1\.519 mm in steel, 1\.613 mm in galvanised, 1\.290 mm in aluminium"):
        gauges.with_gauge(Choices(gauge=16))
    with pytest.raises(BadChoice, match="name the material"):
        gauges.with_gauge(Choices(gauge=99))


@pytest.mark.parametrize("row", rows("gauges.csv"), ids=lambda x: x["gauge"])
def test_inch_and_millimetre_columns_agree(row: dict[str, str]) -> None:
    # The printed columns differ by up to 0.0102 mm (steel 9); a misprinted inch figure by 0.1 mm and more.
    for metal in ("stainless", "steel", "aluminium"):
        assert float(row[f"{metal}_in"]) * INCH == pytest.approx(float(row[f"{metal}_mm"]), abs=0.0105)


def test_gauge_or_metal_that_is_not_there_says_so() -> None:
    with pytest.raises(ValueError, match="no gauge 40 in the table; it has 3 to 22"):
        gauges.gauge_thickness(40, "steel")
    with pytest.raises(ValueError, match="not for copper"):
        gauges.gauge_thickness(16, "copper")  # type: ignore[arg-type]


@pytest.mark.parametrize(("grade", "value"), [("m", 0.3), ("f", 0.15), ("c", 0.8), ("v", 1.5)])
def test_general_tolerance_of_100_mm(grade, value: float) -> None:  # type: ignore[no-untyped-def]
    # ISO 2768-1:1989, Table 1.
    assert tolerances.general_tolerance(100, grade).value == value


@pytest.mark.parametrize(
    ("leg", "degrees"), [(10, 1.0), (10.1, 0.5), (50, 0.5), (120, 20 / 60), (400, 10 / 60), (4000, 5 / 60)]
)
def test_angular_tolerance_goes_by_the_shorter_leg(leg: float, degrees: float) -> None:
    # ISO 2768-1:1989, Table 3, class m.
    assert tolerances.general_tolerance(leg, "m", "angular").value == pytest.approx(degrees)


@pytest.mark.parametrize(("size", "grade"), [(0.4, "m"), (5000, "m"), (2.0, "v"), (3000, "f")])
def test_general_tolerance_that_the_standard_leaves_out(size: float, grade) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="gives no linear tolerance"):
        tolerances.general_tolerance(size, grade)


@given(st.floats(0.5, 2000), st.floats(0.5, 2000))
def test_general_tolerance_never_shrinks_with_size(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert tolerances.general_tolerance(low).value <= tolerances.general_tolerance(high).value


@given(st.floats(0.01, 500.0), st.integers(5, 11))
def test_it_grade_agrees_with_a_second_library(size: float, grade: int) -> None:
    assert tolerances.it_grade(size, grade).value * 1000 == pytest.approx(it_value(size, grade))


def test_it7_at_25_mm_is_21_micrometres() -> None:
    # ISO 286-1:2010: 25 H7 is +21/0.
    assert tolerances.it_grade(25, 7).value == pytest.approx(0.021)


@pytest.mark.parametrize(("size", "it14_mm"), [(10, 0.36), (100, 0.87)])
def test_every_fifth_grade_is_ten_times_as_wide(size: float, it14_mm: float) -> None:
    # ISO 286-1: IT14, as printed in an encyclopedia; each fifth grade from IT6 on is ten times as wide.
    assert tolerances.it_grade(size, 9).value * 10 == pytest.approx(it14_mm)


@pytest.mark.parametrize(("grade", "units"), [(6, 10), (7, 16), (8, 25), (9, 40), (10, 64), (11, 100)])
def test_it_grades_are_the_standard_s_formula_rounded(grade: int, units: int) -> None:
    # ISO 286-1:2010 (from memory): so many times i = 0.45 D^(1/3) + 0.001 D micrometres, D the middle of the band as
    # the geometric mean of its ends; the standard rounds, by rules that cannot all be followed.
    steps = [3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500]
    for over, to in itertools.pairwise(steps):
        middle = math.sqrt(over * to)
        formula_um = units * (0.45 * middle ** (1 / 3) + 0.001 * middle)
        assert tolerances.it_grade(to, grade).value * 1000 == pytest.approx(formula_um, rel=0.07, abs=0.7), (over, to)


def test_powder_bed_tolerance_has_a_floor() -> None:
    assert tolerances.powder_bed_tolerance(20).value == 0.3
    assert tolerances.powder_bed_tolerance(200).value == pytest.approx(0.6)
    assert tolerances.powder_bed_tolerance(20).source.kind == "common-practice"


def test_fastener_formulas_on_the_example_of_y14_5() -> None:
    # ASME Y14.5M-1994, appendix B: H 3.94, F 3.5 gives 0.44 floating, 0.22 fixed.
    assert fits.floating_fastener(3.94, 3.5).value == pytest.approx(0.44)
    assert fits.fixed_fastener(3.94, 3.5).value == pytest.approx(0.22)


@given(st.lists(st.floats(0, 5), max_size=20))
def test_root_sum_square_is_never_more_than_worst_case(stack: list[float]) -> None:
    assert fits.root_sum_square(stack) <= fits.worst_case(stack) + 1e-9
    assert fits.worst_case([0.1] * 4) == pytest.approx(0.4)
    assert fits.root_sum_square([0.1] * 4) == pytest.approx(0.2)


@given(st.floats(-5, 5), st.floats(-5, 5))
def test_position_is_twice_the_offset(dx: float, dy: float) -> None:
    assert fits.position_from_offset(dx, dy) == pytest.approx(2 * math.sqrt(dx * dx + dy * dy))


def test_kerf_grows_with_thick_metal_and_is_refused_where_laser_is_not_used() -> None:
    steel = material("steel-mild")
    assert laser.kerf(steel, 2.0).usual_mm == pytest.approx(0.15)
    assert laser.kerf(steel, 10.0).usual_mm == pytest.approx(0.4)
    assert laser.least_inside_radius_mm(0.2) == 0.1
    for id in ("pvc", "g10"):
        with pytest.raises(ValueError, match="is not cut by laser"):
            laser.kerf(material(id), 3.0)


def test_source_of_a_kind_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="is no kind of source"):
        source("hearsay", "somebody said so")
    with pytest.raises(ValueError, match="needs a text"):
        source("memory", "")
