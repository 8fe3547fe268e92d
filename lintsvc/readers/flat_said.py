"""What layer names and drawn texts say of a bend: angle, direction, radius."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lintsvc.model.sheet import Direction
from lintsvc.readers.flat_roles import RoleRules, pieces

_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_ALONE = re.compile(r"\d+(?:[.,]\d+)?")
_DEGREES = re.compile(_NUMBER + r"\s*(?:°|º|%%d|\\U\+00B0|deg\b|degrees?\b|grad\b)", re.IGNORECASE)
_RADIUS = re.compile(
    r"(?<![a-z])(?:i\.?r|r|rad(?:ius)?|ri)(?:\.(?!\d))?\s*[=:]?\s*"
    + _NUMBER
    + r"(?:\s*/\s*(\d+))?\s*(mm\b|in\b|inch\b|\"|″)?",
    re.IGNORECASE,
)
_ALL_BENDS = re.compile(r"\ball\s+(?:bends|folds)\b", re.IGNORECASE)
_MM = {"mm": 1.0, "in": 25.4, "inch": 25.4, '"': 25.4, "″": 25.4}


@dataclass(frozen=True, slots=True)
class BendSaid:
    """What a text or a layer's name says of a bend. The angle is the one bent through; None: not said."""

    angle_deg: float | None = None
    direction: Direction | None = None
    radius_mm: float | None = None


def said_by_layer(name: str, rules: RoleRules, mm_per_unit: float = 1.0) -> BendSaid:
    """Return what the name of a bend layer says. `mm_per_unit`: of a radius that names no unit.

    A bare number counts as an angle only beside a direction: the 2 of `BEND2` is a number of a layer.
    """
    name = _apart(name)
    direction = _direction(name, rules)
    degrees = _DEGREES.search(name)
    angle = _angle(degrees.group(1)) if degrees else None
    if angle is None and direction is not None:
        numbers = [x for x in map(_number, _ALONE.findall(_RADIUS.sub(" ", name))) if 5 <= x <= 180]
        angle = numbers[0] if len(numbers) == 1 else None
    return BendSaid(angle, direction, _radius_mm(name, mm_per_unit))


def said_by_text(text: str, rules: RoleRules, mm_per_unit: float = 1.0, *, of_bends: bool = False) -> BendSaid | None:
    """Return what a drawn text says of a bend; None for a text that speaks of something else.

    Counts as a bend's text: a direction, the word bend with an angle or a radius, or an angle with a radius.
    A direction among words that are not about bends says nothing: THIS SIDE UP. `of_bends`: it stands on a layer
    for bends, where any of the three counts.
    """
    text = _apart(text[:200])
    direction = _direction(text, rules)
    degrees = _DEGREES.search(text)
    angle = _angle(degrees.group(1)) if degrees else _beside_direction(text, rules)
    radius = _radius_mm(text, mm_per_unit)
    values = (angle is not None) + (radius is not None)
    about_bends = of_bends or rules.says_bend(text)
    speaks = values > 0 if about_bends else values == 2
    if speaks or (direction is not None and (values > 0 or about_bends or _nothing_else(text, rules))):
        return BendSaid(angle, direction, radius)
    return None


def speaks_of_all(text: str) -> bool:
    """True for a text that is about all bends."""
    return _ALL_BENDS.search(text) is not None


def _apart(name: str) -> str:
    """Return a name whose words an underscore no longer joins: to a pattern it is a letter."""
    return name.replace("_", " ")


def _direction(name: str, rules: RoleRules) -> Direction | None:
    found: Sequence[str] = pieces(name)
    # BENDUP is one piece; so is BENDDOWN.
    found = [*found, *(x[len(stem) :] for x in found for stem in rules.bend_stems if x.startswith(stem))]
    up, down = any(x in rules.bend.up for x in found), any(x in rules.bend.down for x in found)
    if up == down:
        return None
    return "up" if up else "down"


def _nothing_else(text: str, rules: RoleRules) -> bool:
    """True where every word is one for a direction, or one that stands with it."""
    known = rules.bend.up | rules.bend.down | rules.bend.beside
    return all(x in known for x in pieces(text) if not x.isdecimal())


def _beside_direction(text: str, rules: RoleRules) -> float | None:
    """Return the one number that stands next to a word for a direction: UP 90, 45 down."""
    text = _RADIUS.sub(" ", text)
    words = "|".join(map(re.escape, sorted(rules.bend.up | rules.bend.down)))
    found = re.search(rf"\b(?:{words})\b\W*{_NUMBER}|(?<![\d.,]){_NUMBER}\s*(?:{words})\b", text, re.IGNORECASE)
    return _angle(found.group(1) or found.group(2)) if found else None


def _radius_mm(text: str, mm_per_unit: float) -> float | None:
    found = _RADIUS.search(text)
    if found is None:
        return None
    value = _number(found[1])
    if found[2] is not None:
        if float(found[2]) == 0:
            return None
        value /= float(found[2])
    return value * _MM.get((found[3] or "").lower(), mm_per_unit)


def _angle(digits: str) -> float | None:
    value = _number(digits)
    return value if 0 < value <= 180 else None


def _number(digits: str) -> float:
    return float(digits.replace(",", "."))
