"""The order that the rank's weights are meant to give."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.rulebook.rank import how_far_past, rank

LEVELS = st.sampled_from(["error", "warning", "note"])
COSTS = st.sampled_from(["scrap", "rework", "cosmetic"])
SURE = st.floats(0, 1)
VALUE = st.floats(0.001, 1e4)


@given(LEVELS, VALUE, VALUE, st.sampled_from(["below", "above", "present"]), COSTS, SURE)
def test_rank_lies_between_0_and_100(level, measured, limit, worse, cost, sure) -> None:
    assert 0 <= rank(level, measured, limit, worse, cost, sure) <= 100


@given(VALUE, VALUE, COSTS, SURE, SURE)
def test_an_error_ranks_above_every_note(measured, limit, cost, sure, other_sure) -> None:
    assert rank("error", measured, limit, "below", cost, sure) > rank("note", 0.0, limit, "below", "scrap", other_sure)


@given(LEVELS, VALUE, COSTS, SURE, st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_further_past_the_limit_never_ranks_lower(level, limit, cost, sure, one, other) -> None:
    near, far = sorted((one, other), reverse=True)
    assert rank(level, far * limit, limit, "below", cost, sure) >= rank(level, near * limit, limit, "below", cost, sure)


def test_scrap_ranks_above_rework_above_cosmetic() -> None:
    ranks = [rank("warning", 0.5, 1.0, "below", cost, 1.0) for cost in ("scrap", "rework", "cosmetic")]
    assert ranks == sorted(ranks, reverse=True)
    assert len(set(ranks)) == 3


def test_a_surer_measurement_ranks_higher() -> None:
    assert rank("warning", 0.5, 1.0, "below", "scrap", 1.0) > rank("warning", 0.5, 1.0, "below", "scrap", 0.5)


def test_how_far_past_is_a_share_of_the_limit() -> None:
    assert how_far_past(0.6, 0.8, "below") == pytest.approx(0.25)
    assert how_far_past(1.2, 0.8, "above") == pytest.approx(0.5)
    assert how_far_past(9.0, 1.0, "above") == 1.0
    assert how_far_past(0.9, 0.8, "below") == 0.0
    assert how_far_past(None, 0.8, "below") == 0.5


def test_the_formula_as_documented() -> None:
    # 40 for a warning, 20 x 0.25 past, 15 for scrap, sure.
    assert rank("warning", 0.6, 0.8, "below", "scrap", 1.0) == 60.0
    assert rank("warning", 0.6, 0.8, "below", "scrap", 0.0) == 45.0
