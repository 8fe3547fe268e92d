"""Choices as people and programs write them: `2mm`, `0.08in`, JSON; and back.

The command's options, the fields of an upload and a queued check all say the same things;
this is the one place that reads them.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any, cast

from lintsvc.model.choices import CUTS, PROCESSES, Choices, CountersinkChoice, Process, ThreadChoice
from lintsvc.model.line_choice import LineChoice
from lintsvc.model.sheet import Bend
from lintsvc.model.units import MM_PER_UNIT

_LENGTH = re.compile(r"^\s*([0-9]*\.?[0-9]+(?:e[+-]?[0-9]+)?)\s*(mm|cm|m|in|inch|mil|ft|\"|″)?\s*$", re.IGNORECASE)
_GAUGE = re.compile(r"\s*([0-9]{1,2})\s*-?\s*(?:ga|gauge|gage)\.?\s*", re.IGNORECASE)
#: Under this key a queued check keeps, beside the choices, what it changes of the rules.
CHANGES = "changes"
#: Choices that are lists, and of what.
_LISTS: dict[str, type[Any]] = {
    "lines": LineChoice,
    "bends": Bend,
    "threads": ThreadChoice,
    "countersinks": CountersinkChoice,
}
_OTHER_NAMES = {'"': "in", "″": "in", "inch": "in"}
#: Largest length that can be meant: nothing made in these processes is longer.
_LONGEST_MM = 100_000.0


class BadChoice(ValueError):
    """A choice cannot be used. `name` says which one, the text what it may be."""

    def __init__(self, name: str, why: str) -> None:
        self.name = name
        super().__init__(why)


def read_length_mm(text: str, name: str = "length") -> float:
    """Return a length in mm; without a unit it is mm already. Raises BadChoice.

    >>> read_length_mm("2mm"), read_length_mm("0.25 in"), read_length_mm("3")
    (2.0, 6.35, 3.0)
    """
    found = _LENGTH.match(text)
    if found is None:
        raise BadChoice(name, f"{text!r} is no length; write it like 2mm or 0.08in")
    unit = (found[2] or "mm").lower()
    value = float(found[1]) * MM_PER_UNIT[_OTHER_NAMES.get(unit, unit)]
    if not 0 < value <= _LONGEST_MM:
        raise BadChoice(name, f"{text!r} is out of range; it must be above 0 and at most {_LONGEST_MM / 1000:g} m")
    return value


def read_gauge(text: str) -> int | None:
    """Return the number of a sheet gauge, None for a text that is none.

    >>> read_gauge("16ga"), read_gauge("16 gauge"), read_gauge("16mm")
    (16, 16, None)
    """
    found = _GAUGE.fullmatch(text)
    return None if found is None else int(found[1])


def choices_from_words(words: Mapping[str, str]) -> Choices:
    """Return the choices that the words say. Empty words count as not said. Raises BadChoice."""
    given: dict[str, Any] = {}
    for name, word in words.items():
        if name not in _READERS:
            raise BadChoice(name, f"there is no choice {name!r}; there are {', '.join(_READERS)}")
        if word.strip():
            key, read = _READERS[name]
            gauge = read_gauge(word) if key == "thickness_mm" else None
            if gauge is not None:
                given["gauge"] = gauge
            else:
                given[key] = read(word.strip(), name)
    return Choices(**given)


def choices_to_dict(choices: Choices) -> dict[str, Any]:
    """Return the choices as JSON types, only those that were made."""
    empty = Choices()
    data = asdict(choices)
    return {key: value for key, value in data.items() if getattr(choices, key) != getattr(empty, key)}


def choices_from_dict(data: Mapping[str, Any]) -> Choices:
    """Return what `choices_to_dict` wrote; what a queued check keeps beside it (CHANGES) is passed over."""
    given = {key: value for key, value in data.items() if key != CHANGES}
    for key, kind in _LISTS.items():
        if key in given:
            given[key] = tuple(_item(kind, x, key) for x in given[key])
    if given.get("finished_size_mm") is not None:
        given["finished_size_mm"] = tuple(given["finished_size_mm"])
    return Choices(**given)


def _one_of(allowed: tuple[str, ...]) -> Callable[[str, str], str]:
    def read(word: str, name: str) -> str:
        if word not in allowed:
            raise BadChoice(name, f"{word!r} is no {name.replace('_', ' ')}; it may be {', '.join(allowed)}")
        return word

    return read


def _process(word: str, name: str) -> Process:
    return cast(Process, _one_of(PROCESSES)(word, name))


def _plain(word: str, name: str) -> str:
    if len(word) > 100 or not word.isprintable():
        raise BadChoice(name, f"{name} must be a short plain word")
    return word


def _thickness(word: str, name: str) -> float:
    try:
        return read_length_mm(word, name)
    except BadChoice as error:
        if "is no length" not in str(error):
            raise
        raise BadChoice(
            name, f"{word!r} is no thickness; write it like 2mm or 0.08in, or a sheet gauge like 16ga"
        ) from None


def _quantity(word: str, name: str) -> int:
    if not (word.isascii() and word.isdigit() and 1 <= int(word[:9]) <= 1_000_000):
        raise BadChoice(name, f"{word!r} is no quantity; write a whole number from 1")
    return int(word)


def _k_factor(word: str, name: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not 0 < value < 1:
        raise BadChoice(name, f"{word!r} is no K-factor; it lies between 0 and 1, often near 0.4")
    return value


def _size(word: str, name: str) -> tuple[float, float, float]:
    parts = re.split(r"[x×,]", word)
    if len(parts) != 3:
        raise BadChoice(name, f"{word!r} is no size; write it like 40x30x12mm")
    unit = re.search(r"[a-z\"″]+\s*$", parts[2], re.IGNORECASE)
    lengths = [
        read_length_mm(x if re.search(r"[a-z\"″]\s*$", x, re.IGNORECASE) else x + (unit[0] if unit else ""), name)
        for x in parts
    ]
    return lengths[0], lengths[1], lengths[2]


def _items(kind: type[Any]) -> Callable[[str, str], tuple[Any, ...]]:
    def read(word: str, name: str) -> tuple[Any, ...]:
        items: Any = None
        if word[:1] not in "[{":
            items = [x for x in word.split(";") if x.strip()]
        else:
            try:
                items = json.loads(word, parse_constant=_refuse)
            except (ValueError, RecursionError):
                items = None
        if not isinstance(items, list) or len(items) > 500:
            raise BadChoice(name, f"{name} must be a list of at most 500 entries: JSON, or texts with ; between them")
        return tuple(_item(kind, x, name) for x in items)

    return read


def _refuse(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _item(kind: type[Any], item: Any, name: str) -> Any:
    """Return one entry of a list, from a text or from JSON. Raises BadChoice for what does not fit its fields."""
    if isinstance(item, str):
        from lintsvc.model.choices_lists import list_item

        try:
            return list_item(kind, item, lambda text: read_length_mm(text, name))
        except BadChoice:
            raise
        except ValueError as error:
            raise BadChoice(name, str(error)) from None
    from pydantic import TypeAdapter, ValidationError

    try:
        return TypeAdapter(kind).validate_python(item)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(x) for x in first["loc"])
        raise BadChoice(
            name, f"an entry of {name} is wrong at {place or 'its start'}: {first['msg'].lower()}"
        ) from None


_READERS: dict[str, tuple[str, Callable[[str, str], Any]]] = {
    "process": ("process", _process),
    "material": ("material", _plain),
    "thickness": ("thickness_mm", _thickness),
    "units": ("units", _one_of(tuple(MM_PER_UNIT))),
    "finish": ("finish", _plain),
    "cut": ("cut", _one_of(CUTS)),
    "quantity": ("quantity", _quantity),
    "k_factor": ("k_factor", _k_factor),
    "bend_radius": ("bend_radius_mm", read_length_mm),
    "finished_size": ("finished_size_mm", _size),
    **{name: (name, _items(kind)) for name, kind in _LISTS.items()},
}

#: Names of all choices, as fields of an upload.
CHOICE_NAMES: tuple[str, ...] = tuple(_READERS)


def choices_to_words(choices: Choices) -> dict[str, str]:
    """Return the words that `choices_from_words` reads back to the same choices."""
    data = choices_to_dict(choices)
    words: dict[str, str] = {}
    for name, (key, _) in _READERS.items():
        if key == "thickness_mm" and "gauge" in data:
            # How thick it is follows from the gauge and the material.
            words[name] = f"{data['gauge']}ga"
            continue
        if key not in data:
            continue
        value = data[key]
        if key == "finished_size_mm":
            words[name] = "x".join(repr(float(x)) for x in value) + "mm"
        elif key.endswith("_mm"):
            words[name] = f"{_plain_number(value)}mm"
        elif isinstance(value, (tuple, list)):
            words[name] = json.dumps(value)
        else:
            words[name] = str(value)
    return words


def _plain_number(value: float) -> str:
    """2 for 2.0; every digit of anything else, so that the way back is exact."""
    return str(int(value)) if value == int(value) else repr(value)
