"""`shop.toml`: rows that fit best, errors with their line, and how much stands behind a figure."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.rulebook.shop import ShopError, parse_shop, read_shop

TEXT = """
[[measured]]
what = "hole"
process = "sheet"
offset = -0.1
spread = 0.03
sizes = 24
parts = 6

[[measured]]
what = "hole"
process = "sheet"
material = "aluminium-5052-h32"
offset = -0.15
spread = 0.05
sizes = 4
parts = 1

[[measured]]
what = "bend"
supplier = "laser"
offset = -0.5
spread = 0.2
sizes = 12
parts = 6

[limits]
"sheet/hole-too-small" = "1.2x"
"""


def test_row_that_says_most_of_what_is_asked_holds() -> None:
    shop = parse_shop(TEXT)
    exact = shop.figure("hole", "sheet", "aluminium-5052-h32", "laser")
    any_material = shop.figure("hole", "sheet", "steel-mild")
    assert exact is not None
    assert exact.offset == -0.15
    assert any_material is not None
    assert any_material.offset == -0.1
    assert shop.figure("hole", "powder-bed", "pa12") is None
    assert shop.figure("bend", "sheet", "steel-mild", "other") is None
    assert shop.figure("length", "sheet") is None


def test_source_names_the_line_and_how_much_stands_behind_it() -> None:
    shop = parse_shop(TEXT, "shop.toml")
    hole, bend = shop.figure("hole", "sheet"), shop.figure("bend", "sheet", None, "laser")
    assert hole is not None
    assert bend is not None
    assert hole.source.kind == "shop"
    assert "shop.toml, line 2: 24 holes measured on 6 parts came out 0.1 mm small" in hole.source.text
    assert "came out 0.5° open" in bend.source.text


def test_spread_of_few_sizes_is_no_tolerance() -> None:
    shop = parse_shop(TEXT)
    many, few = shop.figure("hole", "sheet"), shop.figure("hole", "sheet", "aluminium-5052-h32")
    assert many is not None
    assert few is not None
    assert many.tolerance is not None
    assert many.tolerance.value == pytest.approx(0.09)
    assert few.tolerance is None


def test_limits_of_the_shop_name_it_as_their_source() -> None:
    (change,) = parse_shop(TEXT).limits.limits
    assert change.rule == "sheet/hole-too-small"
    assert change.source.kind == "shop"
    assert "shop.toml, line 28" in change.place


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[mesured]]\n", "line 1: there is no key 'mesured' here; did you mean 'measured'?"),
        ('[[measured]]\nwhat = "whole"\noffset = 1\n', "line 1: what is hole, bend, length, thickness; not 'whole'"),
        ('[[measured]]\nwhat = "hole"\n', "the key 'offset' is missing"),
        ('[[measured]]\nwhat = "hole"\noffset = "a"\n', "line 3: offset is a number"),
        ('[[measured]]\nwhat = "hole"\noffset = nan\n', "line 3: offset is a number"),
        ('[[measured]]\nwhat = "hole"\noffset = 50\n', "no deviation"),
        ('[[measured]]\nwhat = "hole"\noffset = 0\nspread = -1\n', "line 4: spread is a number, 0 or more"),
        ('[[measured]]\nwhat = "hole"\noffset = 0\nprocess = "milling"\n', "line 4: 'milling' is no process"),
        ("[[arrived]]\nparts = 1\nbad = 2\n", "line 1: 2 of 1 parts cannot be bad"),
        ("[[arrived]]\nparts = 1.5\n", "line 2: parts is a whole number, 0 or more"),
        ("measured = 3\n", r"line 1: write [[measured]], once for each entry"),
        ('[levels]\n"sheet/x" = "loud"\n', "'loud' is no level"),
        ("[[", "shop.toml: "),
    ],
)
def test_error_names_the_line_and_what_would_be_right(text: str, said: str) -> None:
    with pytest.raises(ShopError) as error:
        parse_shop(text)
    assert said in str(error.value)


def test_file_that_is_none_is_refused(tmp_path) -> None:
    with pytest.raises(ShopError, match="cannot be opened"):
        read_shop(tmp_path / "shop.toml")
    (tmp_path / "shop.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(ShopError, match="UTF-8"):
        read_shop(tmp_path / "shop.toml")


@given(st.text(max_size=200))
def test_any_text_is_a_shop_or_an_error(text: str) -> None:
    try:
        parse_shop(text)
    except ShopError as error:
        assert str(error).startswith("shop.toml")
