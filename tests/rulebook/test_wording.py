"""Numbers as a person reads them."""

from __future__ import annotations

import pytest

from lintsvc.rulebook.wording import number


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.09999, "0.1"), (0.10001, "0.1"), (0.03125, "0.03125"), (0.05146, "0.05146"), (-0.09999, "-0.1"), (0.0, "0")],
)
def test_small_number_is_as_long_as_it_has_to_be(value: float, text: str) -> None:
    """A slit of 0.1 mm, a thirty-second of an inch."""
    assert number(value) == text
