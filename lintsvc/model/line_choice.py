"""What drawn lines are for by the user's word: all lines of a layer, a line type or a colour.

As text, one thing after the other: `layer:FOLD=bend up 90 R2mm; colour:#ff0000=engrave; layer:HOLES=thread M4`.
A `*` in a name stands for anything. The first word that fits a line holds for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from lintsvc.model.sheet import Direction, Role

#: The roles that a user may give.
ROLES: tuple[Role, ...] = ("cut", "bend", "engrave", "note")
#: Plain colour names: DXF colour number, and as `#rrggbb`.
_COLOURS = {
    "red": (1, "#ff0000"), "yellow": (2, "#ffff00"), "green": (3, "#00ff00"), "cyan": (4, "#00ffff"),
    "blue": (5, "#0000ff"), "magenta": (6, "#ff00ff"), "white": (7, "#ffffff"), "black": (7, "#000000"),
}  # fmt: skip
_TEXT = re.compile(r"\s*(layer|line-type|colour)\s*:\s*(.+?)\s*=\s*(\S.*?)\s*", re.IGNORECASE | re.DOTALL)
_ANGLE = re.compile(r"(\d+(?:\.\d+)?)\s*(?:°|deg)?", re.IGNORECASE)
_EXAMPLE = "write it like layer:FOLD=bend up, colour:red=engrave or layer:HOLES=thread M4"


@dataclass(frozen=True, slots=True)
class LineChoice:
    """What the lines of one layer, line type or colour are for. `name` may hold `*`; a colour is `#rrggbb`,
    a DXF colour number, or a plain name. The last four: what it says of bends, and of the holes among its lines.

    Raises ValueError for what cannot be meant.
    """

    of: Literal["layer", "line-type", "colour"]
    name: str
    role: Role
    angle_deg: float | None = None
    direction: Direction | None = None
    radius_mm: float | None = None
    thread: str | None = None

    def __post_init__(self) -> None:
        """Refuse what contradicts itself."""
        if self.role not in ROLES:
            raise ValueError(f"{self.role!r} is no role of a line; it may be {', '.join(ROLES)}")
        if not 0 < len(self.name) <= 200 or not self.name.isprintable():
            raise ValueError("the name of a layer, line type or colour is a short plain text")
        if self.role != "bend" and (self.angle_deg, self.direction, self.radius_mm) != (None, None, None):
            raise ValueError("angle, direction and radius are said of bends only")
        if self.angle_deg is not None and not 0 < self.angle_deg <= 180:
            raise ValueError(f"{self.angle_deg:g} is no bend's angle; it lies above 0 and up to 180 degrees")
        if self.radius_mm is not None and not 0 <= self.radius_mm <= 1e4:
            raise ValueError(f"{self.radius_mm:g} mm is no bend's radius")
        if self.thread is not None and self.role != "cut":
            raise ValueError("only a hole that is cut can be tapped")

    def fits(self, layer: str, line_type: str, rgb: str, colour: int | None) -> bool:
        """True when a line is meant. Names are compared without regard to case."""
        if self.of == "colour":
            # Files say a colour as a number or as a shade; the plain ones are known both ways.
            plain = self.name.lower()
            number, shade = next(
                (both for name, both in _COLOURS.items() if plain in (name, str(both[0]), both[1])),
                (int(plain) if plain.isdecimal() else None, plain),
            )
            return rgb.lower() == shade or (number is not None and colour == number and not rgb)
        return _like(layer if self.of == "layer" else line_type, self.name)

    @property
    def what(self) -> str:
        """What it makes of a line, in words: `bend up 90° R2mm`."""
        said = [
            "thread" if self.thread else self.role,
            self.thread,
            self.direction,
            None if self.angle_deg is None else f"{self.angle_deg:g}°",
            None if self.radius_mm is None else f"R{self.radius_mm:g}mm",
        ]
        return " ".join(x for x in said if x)

    def __str__(self) -> str:
        """Its text; `line_choice` reads it back."""
        return f"{self.of}:{self.name}={self.what}"


def line_choice(text: str, length_mm: Callable[[str], float]) -> LineChoice:
    """Return the choice of a text such as `layer:FOLD=bend up`. `length_mm` reads a length. Raises ValueError."""
    found = _TEXT.fullmatch(text)
    if found is None:
        raise ValueError(f"{text.strip()!r} says nothing about lines; {_EXAMPLE}")
    of, name, what = found[1].lower(), found[2], found[3].split()
    role = what.pop(0).lower()
    angle: float | None = None
    radius: float | None = None
    direction: Direction | None = None
    thread: str | None = None
    if role == "thread" and what:
        role, thread, what = "cut", " ".join(what), []
    for word in what:
        if word.lower() in ("up", "down"):
            direction = "up" if word.lower() == "up" else "down"
        elif word[:1] in "rR" and len(word) > 1:
            radius = length_mm(word[1:])
        elif number := _ANGLE.fullmatch(word):
            angle = float(number[1])
        else:
            raise ValueError(f"{word!r} says nothing about a bend; write it like bend up 90 R2mm")
    # The class refuses what the types do not allow.
    return LineChoice(of, name, role, angle, direction, radius, thread)  # type: ignore[arg-type]


def _like(text: str, pattern: str) -> bool:
    """True when a text is the pattern, whose `*` stand for anything. In linear time, whatever the pattern.

    >>> _like("BEND_up", "bend*"), _like("my bends", "bend*"), _like("a-b-c", "a*c")
    (True, False, True)
    """
    text, (first, *rest) = text.casefold(), pattern.casefold().split("*")
    if not rest:
        return text == first
    if not text.startswith(first):
        return False
    at = len(first)
    for piece in rest[:-1]:
        found = text.find(piece, at)
        if found < 0:
            return False
        at = found + len(piece)
    return len(text) - at >= len(rest[-1]) and text.endswith(rest[-1])


def first_fit(
    choices: Iterable[LineChoice], layer: str, line_type: str, rgb: str, colour: int | None
) -> LineChoice | None:
    """Return the first choice that a line is meant by."""
    return next((x for x in choices if x.fits(layer, line_type, rgb, colour)), None)
