"""What drives cost, on parts with an answer in closed form; prices only from what the user entered."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts.orders import plate, sheet, square, table, write
from scipy.spatial.transform import Rotation

from lintsvc.demo import bracket
from lintsvc.demo.housing import housing, write_stl
from lintsvc.demo.write import choices_of
from lintsvc.model.choices import Choices
from lintsvc.order.check import check_order
from lintsvc.order.cost import Drivers, driver_rows, drivers_of, packed_height, price_of
from lintsvc.order.load import load_here
from lintsvc.order.read import parse_order
from lintsvc.reports.words import about_order
from lintsvc.rulebook.check import check_file


def drivers(path: Path, choices: Choices) -> Drivers:
    checked = check_file(path, choices, ()).checked
    assert checked is not None
    return drivers_of(checked)


@pytest.fixture(scope="module")
def bent(tmp_path_factory) -> Drivers:
    path = tmp_path_factory.mktemp("cost") / "bracket.dxf"
    bracket.write_bracket(path, faulty=False)
    return drivers(path, choices_of("bracket.dxf"))


def test_cut_length_and_pierces_of_the_bracket(bent: Drivers) -> None:
    outline = bracket._outline()
    around = sum(math.dist(a, b) for a, b in itertools.pairwise([*outline, outline[0]]))
    holes = math.pi * (2 * 3.3 + 2 * 4.2 + 4 * 6.6 + 16.0)
    assert bent.cut_length_mm == pytest.approx(around + holes, rel=1e-3)
    assert bent.pierces == 1 + 9
    assert (bent.bends, bent.taps, bent.countersinks) == (2, 4, 0)
    assert bent.engraved_length_mm == 0


def test_box_of_the_bracket_is_the_folded_one(bent: Drivers) -> None:
    # Plate 86, tab and foot the other way: 28 + 32 less the thickness they share.
    height = bracket.TAB_MM + bracket.FOOT_MM - bracket.THICKNESS_MM
    assert bent.box_mm == pytest.approx(sorted((86.0, 60.0, height), reverse=True), abs=0.01)


def test_mass_and_finish_of_the_bracket(bent: Drivers) -> None:
    assert bent.mass_g is not None
    assert bent.finish_area_mm2 is not None
    assert bent.cut_length_mm is not None
    area = bent.mass_g / (2680e-6 * 2.5)
    assert bent.finish_area_mm2 == pytest.approx(2 * area + bent.cut_length_mm * 2.5, rel=1e-9)


def test_printed_housing_has_a_packed_height_and_nothing_of_sheet(tmp_path) -> None:
    write_stl(housing(faulty=False), tmp_path / "housing.stl")
    found = drivers(tmp_path / "housing.stl", choices_of("housing.stl"))
    assert found.packed_height_mm == pytest.approx(42.0, abs=1e-3)
    assert found.box_mm == pytest.approx((100.0, 70.0, 42.0), abs=1e-3)
    assert found.cut_length_mm is None
    assert found.bends is None
    assert dict(driver_rows(found))["packed height"] == "42 mm"
    assert "pierces" not in dict(driver_rows(found))


@given(
    st.tuples(*[st.floats(1, 200)] * 3),
    st.integers(0, 2**32 - 1).map(lambda x: Rotation.random(random_state=x).as_matrix()),
)
def test_packed_height_of_a_box_is_its_least_side_however_it_lies(size, turn) -> None:
    corners = np.array(list(itertools.product((0.0, 1.0), repeat=3))) * size @ turn.T
    assert packed_height(corners) == pytest.approx(min(size), rel=1e-6)
    assert packed_height(corners[:3]) == 0.0


ORDER = """
[[part]]
id = "bracket"
file = "bracket.dxf"
process = "sheet"
quantity = {quantity}
"""


def priced(more: str, drivers: Drivers | None, quantity: int = 3):
    order = parse_order(ORDER.format(quantity=quantity) + more)
    return price_of(order, order.part[0], drivers)


def test_without_a_quote_or_a_rate_there_is_no_price(bent: Drivers) -> None:
    assert priced("", bent) is None


QUOTES = """
[[price]]
part = "bracket"
quantity = 1
each = 50
setup = 20
[[price]]
part = "bracket"
quantity = 10
each = 21
"""


@pytest.mark.parametrize(("quantity", "each"), [(1, 50), (9, 50), (10, 21), (500, 21)])
def test_quote_for_the_largest_number_that_is_reached_holds(quantity: int, each: float) -> None:
    price = priced(QUOTES, None, quantity)
    assert price is not None
    assert price.each == each
    assert "as entered" in price.source


def test_quote_goes_before_a_rate_and_rates_add_up(bent: Drivers) -> None:
    rates = """
    [[rate]]
    per = "order"
    price = 15
    [[rate]]
    per = "bend"
    price = 2.5
    [[rate]]
    per = "cut-metre"
    price = 3
    [[rate]]
    process = "powder-bed"
    per = "kg"
    price = 100
    """
    price = priced(rates, bent)
    assert price is not None
    assert bent.cut_length_mm is not None
    assert price.setup == 15
    assert price.each == pytest.approx(2 * 2.5 + bent.cut_length_mm / 1000 * 3)
    assert "not a quote" in price.source
    assert price.of(3) == pytest.approx(15 + 3 * price.each)
    quoted = priced(QUOTES + rates, bent)
    assert quoted is not None
    assert quoted.each == 50


def test_rate_for_what_is_not_known_gives_no_price(bent: Drivers) -> None:
    from dataclasses import replace

    assert priced('[[rate]]\nper = "kg"\nprice = 9\n', replace(bent, mass_g=None)) is None
    # A sheet part is not packed in powder: none of it, and known.
    price = priced('[[rate]]\nper = "packed-cm"\nprice = 9\n', bent)
    assert price is not None
    assert price.each == 0


def test_the_report_of_an_order_says_what_drives_cost_and_the_sum_of_what_is_priced(tmp_path: Path) -> None:
    text = sheet("lid", "lid.dxf", quantity=2, spares=1) + sheet("base", "lid.dxf")
    text += table("price", part="lid", quantity=1, each=4.0, setup=10.0)
    order = load_here(write(tmp_path, text, lid_dxf=plate(square(4.5))))
    lid, base = check_order(order, ()).costs
    assert (lid.count, lid.together, lid.currency) == (3, 22.0, "EUR")
    assert dict(lid.drivers)["cut length"] == "257 mm"
    assert dict(lid.drivers)["pierces"] == "5"
    assert base.together is None
    lines = [x for x in about_order(check_order(order, ())) if x.startswith("cost")]
    assert lines[0].startswith("cost lid: 22.00 EUR for 3; box 60 × 40 × 2 mm, 4.8 cm³, ")
    assert lines[1].startswith("cost base: no price is entered; ")
    assert lines[2] == "cost in all: 22.00 EUR without base; the packet has it line by line"
