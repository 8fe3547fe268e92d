"""Colours of parts and findings, the same in every picture. Told apart by people who see no red or green too."""

from __future__ import annotations

from lintsvc.model.finding import Level
from lintsvc.model.sheet import Role

#: The part itself.
PART = "#b9bec6"
#: Findings by level, dark enough to read as text on white.
LEVEL: dict[Level, str] = {"error": "#c4231c", "warning": "#b25f00", "note": "#1f63b5"}
#: Lines of a flat by what they are for.
ROLE: dict[Role, str] = {
    "cut": "#30343b",
    "bend": "#7a8290",
    "engrave": "#9aa1ac",
    "note": "#c3c8d0",
    "unclear": "#9aa1ac",
}


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue, 0 to 255, of '#rrggbb'."""
    value = int(colour[1:], 16)
    return value >> 16, value >> 8 & 255, value & 255


def linear(colour: str) -> tuple[float, float, float]:
    """Return linear red, green and blue, 0 to 1, of an sRGB colour (IEC 61966-2-1)."""
    shares = (x / 255 for x in rgb(colour))
    red, green, blue = (x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in shares)
    return round(red, 4), round(green, 4), round(blue, 4)
