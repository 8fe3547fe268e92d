"""The language of conditions: what it computes, what kinds it lets together, and how it says what is wrong."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.rulebook.limit_rules.expression import (
    LONGEST,
    ExpressionError,
    Function,
    comparison,
    conjuncts,
    parse,
)
from lintsvc.rulebook.limit_rules.features import FUNCTIONS, names
from lintsvc.rulebook.limit_rules.kinds import (
    ANGLE,
    AREA,
    LENGTH,
    MASS,
    NUMBER,
    STRESS,
    TEXT,
    TRUTH,
    VOLUME,
    Kind,
)

NAMES = {
    "hole.diameter": LENGTH,
    "sheet.thickness": LENGTH,
    "bend.angle": ANGLE,
    "material.family": TEXT,
    "part.mass": MASS,
    "part.area": AREA,
    "bore.blind": TRUTH,
}
VALUES = {
    "hole.diameter": 4.0,
    "sheet.thickness": 2.5,
    "bend.angle": 90.0,
    "material.family": "steel",
    "part.mass": 30.0,
    "part.area": 200.0,
    "bore.blind": True,
}
NONE: dict[str, Function] = {}


def value(text: str) -> Any:
    return parse(text, NAMES, NONE).run(VALUES.__getitem__)


def kind(text: str) -> Kind:
    return parse(text, NAMES, NONE).kind


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("1.2 * sheet.thickness", 3.0),
        ("3 mm + 0.1 in", 5.54),
        ("2 - 3 - 4", -5.0),
        ("12 / 2 / 3", 2.0),
        ("2 + 3 * 4", 14.0),
        ("(2 + 3) * 4", 20.0),
        ("-2 * -3", 6.0),
        ("max(1 mm, sheet.thickness, 2 mm)", 2.5),
        ("min(hole.diameter, 1 cm)", 4.0),
        ("50 % * 10 mm", 5.0),
        ("1 kg / 4", 250.0),
        ("hole.diameter < 1.2 * sheet.thickness", False),
        ("hole.diameter >= 4 mm", True),
        ("material.family == 'steel' and hole.diameter > 3 mm", True),
        ('material.family == "brass" or bend.angle > 89°', True),
        ("not bore.blind", False),
        ("not (1 > 2) and bore.blind", True),
        ("1 > 2 or 2 > 1 and 1 > 3", False),
    ],
)
def test_condition_gives_what_arithmetic_gives(text: str, result: object) -> None:
    assert value(text) == pytest.approx(result)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("2 mm * 3 mm", AREA),
        ("part.area * sheet.thickness", VOLUME),
        ("part.area / sheet.thickness", LENGTH),
        ("hole.diameter / sheet.thickness", NUMBER),
        ("2 * bend.angle", ANGLE),
        ("bend.angle / 30 deg", NUMBER),
        ("3 GPa", STRESS),
        ("hole.diameter < 3 mm", TRUTH),
        ("1 / 1 mm", Kind("length", -1)),
    ],
)
def test_kind_of_a_condition_is_known_before_it_is_run(text: str, found: Kind) -> None:
    assert kind(text) == found


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("hole.diameter < 3", 17, "is compared with a length; 3 is a number"),
        ("hole.diameter + 3 deg < 1 mm", 17, "3 deg is an angle"),
        ("hole.diamter < 3 mm", 1, "close ones are hole.diameter"),
        ("hol.diameter < 3 mm", 1, "there is no 'hol.diameter'"),
        ("hole < 3 mm", 1, "write hole. and what of it"),
        ("thickness < 3 mm", 1, "'thickness' alone means nothing"),
        ("material.family < 'steel'", 1, "has no order"),
        ("max(1 mm)", 1, "two values or more"),
        ("max(1 mm, 2)", 11, "2 is a number"),
        ("root(2)", 1, "there is no root()"),
        ("bore.blind and 3 mm", 16, "joins what is true or false"),
        ("-material.family == 'x'", 2, "has no negative"),
        ("part.mass * part.mass > 1 kg", 13, "cannot be multiplied with"),
        ("1 / part.mass > 1", 5, "cannot be divided by"),
        ("hole.diameter < ", 16, "missing"),
        ("hole.diameter << 3 mm", 16, "missing or too much"),
        ("hole.diameter < 3 mm; 1", 21, "';' has no meaning"),
        ("hole.diameter < 3 feet", 19, "missing or too much"),
        ("1 < 2 < 3", 7, "missing or too much"),
        ("__import__('os')", 1, "has no meaning"),
        ("", 1, "missing"),
    ],
)
def test_mistake_is_told_with_its_column_and_what_would_be_right(text: str, column: int, words: str) -> None:
    with pytest.raises(ExpressionError) as caught:
        parse(text, NAMES, NONE)
    assert words in str(caught.value)
    assert caught.value.column == column


def test_word_of_the_language_may_begin_a_name() -> None:
    """'or' and 'not' are words of the language; 'order' and 'notch' are none."""
    extended = NAMES | {"notch.width": LENGTH, "order.count": NUMBER}
    assert parse("notch.width > 1 mm and order.count > 2", extended, NONE).names == {"notch.width", "order.count"}


def test_comparison_is_turned_so_that_the_feature_is_on_the_left() -> None:
    node = parse("material.family == 'steel' and max(3 mm, sheet.thickness) > hole.diameter", NAMES, NONE)
    both = conjuncts(node)
    assert [comparison(x, "hole") is not None for x in both] == [False, True]
    found = comparison(both[1], "hole")
    assert found is not None
    assert (found.measured.text, found.sign, found.limit.text) == ("hole.diameter", "<", "max(3 mm, sheet.thickness)")


def test_look_up_of_a_word_that_is_not_there_is_told_when_the_rule_is_read() -> None:
    assert parse('tap_drill("M4")', names(), FUNCTIONS).run(VALUES.__getitem__) == 3.3
    with pytest.raises(ExpressionError, match="M99"):
        parse('hole.diameter < tap_drill("M99")', names(), FUNCTIONS)
    with pytest.raises(ExpressionError, match="takes 1"):
        parse("hole.diameter < tap_drill()", names(), FUNCTIONS)
    with pytest.raises(ExpressionError, match="takes here a text; 4 is a number"):
        parse("hole.diameter < tap_drill(4)", names(), FUNCTIONS)


def test_handbook_values_are_those_of_the_tables() -> None:
    """Outside values: ISO 273 normal hole for M4 is 4.5 mm; the usual drill for M4 is 3.3 mm (ISO 2306)."""
    assert parse('clearance_hole("M4")', names(), FUNCTIONS).run(VALUES.__getitem__) == 4.5
    assert parse('gauge(16, "steel")', names(), FUNCTIONS).run(VALUES.__getitem__) == pytest.approx(1.52, abs=0.01)


lengths = st.floats(0.001, 1000).map(lambda x: round(x, 3))


@given(lengths, lengths, lengths)
def test_sums_and_products_are_pythons(a: float, b: float, c: float) -> None:
    assert value(f"({a} mm + {b} mm) * {c} - {a} mm") == pytest.approx((a + b) * c - a)


@given(st.text(max_size=60))
def test_any_text_is_a_condition_or_a_clear_mistake(text: str) -> None:
    try:
        parse(text, NAMES, NONE)
    except ExpressionError as error:
        assert 1 <= error.column <= len(text) + 1


WORDS = [*NAMES, "(", ")", "<", ">", "==", "and", "or", "not", "+", "-", "*", "/", "3", "mm", "deg", "max(", ",", "'a'"]


@given(st.lists(st.sampled_from(WORDS), max_size=25).map(" ".join))
def test_any_string_of_words_is_a_condition_or_a_clear_mistake(text: str) -> None:
    try:
        node = parse(text, NAMES, NONE)
    except ExpressionError:
        return
    try:
        assert isinstance(node.run(VALUES.__getitem__), bool | float | str)
    except ZeroDivisionError:
        assert "/" in text


def test_deep_nesting_is_no_trouble_and_long_conditions_are_refused() -> None:
    depth = LONGEST // 2 - 1
    assert value("(" * depth + "1" + ")" * depth) == 1.0
    with pytest.raises(ExpressionError, match="make two rules of it"):
        parse("1" * (LONGEST + 1), NAMES, NONE)


@pytest.mark.parametrize(
    "text",
    [
        "hole.diameter < max(3 mm, 1.2 * sheet.thickness)",
        "(1 mm + sheet.thickness) * 2 > hole.diameter - (1 mm - 0.5 mm)",
        "not material.family == 'steel' and -1 mm < hole.diameter",
    ],
)
def test_condition_is_written_again_as_it_was(text: str) -> None:
    assert parse(text, NAMES, NONE).text == text
