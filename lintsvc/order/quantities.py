"""Values as an order file writes them.

Lengths are written with their unit ("2.5 mm", "0.1 in") or as plain numbers in mm; forces as "20 N" or a number in N;
masses as "40 g" or a number in g. Angles are degrees.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from lintsvc.model.choices_words import BadChoice, read_gauge, read_length_mm
from lintsvc.model.line_choice import line_choice

_FORCE_N = {"n": 1.0, "kn": 1000.0, "lbf": 4.4482216152605, "kgf": 9.80665}
_MASS_G = {"g": 1.0, "kg": 1000.0, "lb": 453.59237, "oz": 28.349523125}


def _no_bool(value: Any) -> Any:
    """Refuse true and false where a number is wanted: they would count as 1 and 0."""
    if isinstance(value, bool):
        raise ValueError(f"{str(value).lower()} is no number")
    return value


def _length(value: Any) -> Any:
    _no_bool(value)
    if isinstance(value, str):
        try:
            return read_length_mm(value)
        except BadChoice as error:
            raise ValueError(str(error)) from None
    return value


def _thickness(value: Any) -> Any:
    """A length in mm, or the text of a gauge."""
    if isinstance(value, str) and read_gauge(value) is not None:
        return value
    length = _length(value)
    if not isinstance(length, (int, float)) or not 0 < length <= 1e5:
        raise ValueError(f"{value!r} is no thickness; write it like 2mm or 0.08in, or a sheet gauge like 16ga")
    return float(length)


def _coordinate(value: Any) -> Any:
    """A length that may be negative or zero."""
    _no_bool(value)
    if isinstance(value, str):
        text = value.strip()
        if text.startswith("-"):
            return -_length(text[1:])
        return 0.0 if re.fullmatch(r"0*\.?0+\s*[a-z]*", text) else _length(text)
    return value


def _with_unit(units: dict[str, float], what: str, example: str) -> Any:
    def read(value: Any) -> Any:
        _no_bool(value)
        if not isinstance(value, str):
            return value
        found = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*([a-z]+)\s*", value, re.IGNORECASE)
        if found is None or found[2].lower() not in units:
            raise ValueError(f"{value!r} is no {what}; write it like {example}")
        return float(found[1]) * units[found[2].lower()]

    return read


def _days(value: Any) -> Any:
    """A day, or a text `2026-12-24 to 2027-01-06`, as the first and the last day."""
    if isinstance(value, date):
        return value, value
    if not isinstance(value, str):
        return value
    try:
        first, last = (
            date.fromisoformat(x.strip()) for x in (value.split(" to ") if " to " in value else (value,) * 2)
        )
    except ValueError:
        raise ValueError(f"{value!r} is no day; write 2026-12-24, or '2026-12-24 to 2027-01-06' for several") from None
    if last < first or (last - first).days > 366:
        raise ValueError(f"{value!r} ends before it begins, or is longer than a year")
    return first, last


def _schema_of(pattern: str, unit: str) -> WithJsonSchema:
    return WithJsonSchema(
        {"anyOf": [{"type": "number", "description": f"in {unit}"}, {"type": "string", "pattern": pattern}]}
    )


_LENGTH_PATTERN = r"^\s*-?[0-9]*\.?[0-9]+\s*(mm|cm|m|in|inch|mil|ft)?\s*$"
Length = Annotated[float, BeforeValidator(_length), Field(gt=0, le=1e5), _schema_of(_LENGTH_PATTERN, "mm")]
#: A length in mm, or the text of a sheet gauge.
Thickness = Annotated[
    float | str,
    BeforeValidator(_thickness),
    _schema_of(_LENGTH_PATTERN.replace("ft)", "ft|ga|gauge|gage)"), "mm"),
]
Play = Annotated[float, BeforeValidator(_coordinate), Field(ge=0, le=1e3), _schema_of(_LENGTH_PATTERN, "mm")]
Coordinate = Annotated[float, BeforeValidator(_coordinate), Field(ge=-1e5, le=1e5), _schema_of(_LENGTH_PATTERN, "mm")]
Force = Annotated[
    float,
    BeforeValidator(_with_unit(_FORCE_N, "force", "20 N")),
    Field(gt=0, le=1e7),
    _schema_of(r"^\s*[0-9]*\.?[0-9]+\s*(N|kN|lbf|kgf)\s*$", "N"),
]
Mass = Annotated[
    float,
    BeforeValidator(_with_unit(_MASS_G, "mass", "40 g")),
    Field(ge=0, le=1e8),
    _schema_of(r"^\s*[0-9]*\.?[0-9]+\s*(g|kg|lb|oz)\s*$", "g"),
]
#: A whole number of things.
Count = Annotated[int, BeforeValidator(_no_bool), Field(ge=0, le=1_000_000)]
Several = Annotated[int, BeforeValidator(_no_bool), Field(ge=1, le=1_000_000)]
Component = Annotated[float, Field(ge=-1e9, le=1e9)]
Degrees = Annotated[float, Field(ge=-3600, le=3600)]
Share = Annotated[float, Field(ge=0, lt=1)]
Money = Annotated[float, Field(ge=0, le=1e9)]
Point2 = tuple[Coordinate, Coordinate]
Point3 = tuple[Coordinate, Coordinate, Coordinate]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
#: Days in a row, the first and the last.
Days = Annotated[
    tuple[date, date],
    BeforeValidator(_days),
    WithJsonSchema({"type": "string", "description": "a day, or the first and the last: 2026-12-24 to 2027-01-06"}),
]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


def _line(value: str) -> str:
    line_choice(value, read_length_mm)
    return value


LineText = Annotated[str, AfterValidator(_line)]


class Table(BaseModel):
    """A table of the file. A key nobody knows is an error: most are slips of the pen."""

    model_config = ConfigDict(extra="forbid", frozen=True)
