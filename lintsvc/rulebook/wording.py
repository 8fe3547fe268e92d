"""Numbers and messages as a person reads them."""

from __future__ import annotations

from collections.abc import Mapping

from lintsvc.model.finding import Quantity

#: A small number is said in three figures where that changes it by no more than this share.
_IDLE = 2e-4
_SYMBOL = {"deg": "°", "mm2": " mm²", "mm3": " mm³", "count": "", "%": " %", "ratio": ""}


def number(value: float) -> str:
    """Return a number with at most three decimals and no idle zeros; four significant figures when small, three where
    the fourth is only rounding.

    >>> number(0.8), number(12.3456), number(0.01234), number(0.09999), number(1234567.0)
    ('0.8', '12.346', '0.01234', '0.1', '1 234 567')
    """
    if value == 0:
        return "0"
    if abs(value) < 0.1:
        few = f"{value:.3g}"
        return few if abs(float(few) - value) <= _IDLE * abs(value) else f"{value:.4g}"
    text = f"{value:,.3f}".rstrip("0").rstrip(".")
    # A thin space would be finer, but reports are pasted into plain-text order notes.
    return text.replace(",", " ")


def show(quantity: Quantity) -> str:
    """Return value and unit: '0.8 mm', '90°', '12'."""
    return number(quantity.value) + show_unit(quantity.unit)


def show_unit(unit: str) -> str:
    """Return a unit as it follows its number: ' mm', '°', or nothing for a count."""
    return _SYMBOL.get(unit, f" {unit}" if unit else "")


def fill(template: str, words: Mapping[str, object]) -> str:
    """Fill a message's {words}. Floats are shown as by `number`. Raises KeyError for a word nobody gave."""
    shown = {key: number(value) if isinstance(value, float) else value for key, value in words.items()}
    return template.format_map(shown)
