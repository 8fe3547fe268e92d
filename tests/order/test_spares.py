"""Spares by the binomial, held against another library; what one more costs against a second order."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from lintsvc.order.read import parse_order
from lintsvc.order.spares import advised_spares, enough, spares_of
from lintsvc.rulebook.shop import NO_SHOP, parse_shop

ORDER = """
[order]
enough_chance = 0.9
[[part]]
id = "housing"
file = "housing.stl"
process = "powder-bed"
quantity = 5
spares = 1
supplier = "powder"
{part}
[[supplier]]
id = "powder"
lead_days = 8
transport_days = 2
transport = 12.0
{supplier}
[[price]]
part = "housing"
quantity = 1
each = 40.0
setup = 10.0
[[price]]
part = "housing"
quantity = 6
each = 30.0
"""


def order(part: str = "", supplier: str = ""):
    return parse_order(ORDER.format(part=part, supplier=supplier))


@given(st.integers(1, 400), st.integers(0, 60), st.floats(0.0, 0.99))
def test_chance_is_the_binomial(needed, spares, bad) -> None:
    """Outside check: scipy's binomial distribution."""
    assert enough(needed, spares, bad) == pytest.approx(binom.cdf(spares, needed + spares, bad), abs=1e-9)


def test_worked_by_hand() -> None:
    # 2 needed, 1 spare, one in ten bad: 0.9^3 + 3 · 0.1 · 0.9^2.
    assert enough(2, 1, 0.1) == pytest.approx(0.729 + 0.243)
    assert enough(1000, 0, 0.0) == 1.0


@given(st.integers(1, 60), st.floats(0.001, 0.5), st.floats(0.05, 0.999))
def test_advised_spares_are_the_fewest_that_reach_the_chance(needed, bad, wanted) -> None:
    spares = advised_spares(needed, bad, wanted)
    assert enough(needed, spares, bad) >= wanted
    assert spares == 0 or enough(needed, spares - 1, bad) < wanted


def test_no_advice_where_nobody_says_how_often_a_part_is_bad() -> None:
    found = order()
    assert spares_of(found, found.part[0], NO_SHOP) is None


def test_word_of_the_part_goes_before_the_supplier_and_the_supplier_before_the_shop() -> None:
    shop = parse_shop('[[arrived]]\nprocess = "powder-bed"\nparts = 18\nbad = 1\n')
    told = order("bad_share = 0.05", "bad_share = 0.07")
    found = spares_of(told, told.part[0], shop)
    assert found is not None
    assert found.bad.value == 0.05
    assert "for housing" in found.bad.source.text
    told = order("", "bad_share = 0.07")
    found = spares_of(told, told.part[0], shop)
    assert found is not None
    assert found.bad.value == 0.07
    told = order()
    found = spares_of(told, told.part[0], shop)
    assert found is not None
    assert found.bad.value == pytest.approx(2 / 20)
    assert "1 of 18 parts were bad" in found.bad.source.text
    assert found.bad.source.kind == "shop"


def test_one_more_against_a_second_order() -> None:
    told = order("bad_share = 0.1")
    found = spares_of(told, told.part[0], NO_SHOP)
    assert found is not None
    # Six are ordered, so the quote for 6 holds: 30 each; again: 30, no setup, and the parcel of 12.
    assert found.second is not None
    assert found.second.each == pytest.approx(42.0)
    assert found.second_days == 10
    assert found.chance == pytest.approx(binom.cdf(1, 6, 0.1))
    none, one = found.rows[0], found.rows[1]
    assert none.cost == 0.0
    assert none.second_cost == pytest.approx((1 - 0.9**5) * 42.0)
    assert none.second_days == pytest.approx((1 - 0.9**5) * 10)
    assert one.cost == pytest.approx(30.0)
    assert one.total is not None
    assert one.total == pytest.approx(30.0 + (1 - binom.cdf(1, 6, 0.1)) * 42.0)
    assert found.advised == 2
    assert found.cheapest == 0
