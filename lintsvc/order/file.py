"""The order file: which parts go out, and what they have to do with each other.

Pydantic models, so that one text gives the reading, the errors and the published JSON Schema. Lengths are written with
their unit ("2.5 mm", "0.1 in") or as plain numbers in mm; forces as "20 N" or a number in N; masses as "40 g" or a
number in g. Angles are degrees. Everything but the parts is optional.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from lintsvc.model.choices_words import BadChoice, read_length_mm

_FORCE_N = {"n": 1.0, "kn": 1000.0, "lbf": 4.4482216152605, "kgf": 9.80665}
_MASS_G = {"g": 1.0, "kg": 1000.0, "lb": 453.59237, "oz": 28.349523125}


def _length(value: Any) -> Any:
    if isinstance(value, str):
        try:
            return read_length_mm(value)
        except BadChoice as error:
            raise ValueError(str(error)) from None
    return value


def _coordinate(value: Any) -> Any:
    """A length that may be negative or zero."""
    if isinstance(value, str):
        text = value.strip()
        if text.startswith("-"):
            return -_length(text[1:])
        return 0.0 if re.fullmatch(r"0*\.?0+\s*[a-z]*", text) else _length(text)
    return value


def _with_unit(units: dict[str, float], what: str, example: str) -> Any:
    def read(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        found = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*([a-z]+)\s*", value, re.IGNORECASE)
        if found is None or found[2].lower() not in units:
            raise ValueError(f"{value!r} is no {what}; write it like {example}")
        return float(found[1]) * units[found[2].lower()]

    return read


def _schema_of(pattern: str, unit: str) -> WithJsonSchema:
    return WithJsonSchema(
        {"anyOf": [{"type": "number", "description": f"in {unit}"}, {"type": "string", "pattern": pattern}]}
    )


_LENGTH_PATTERN = r"^\s*-?[0-9]*\.?[0-9]+\s*(mm|cm|m|in|inch|mil|ft)?\s*$"
Length = Annotated[float, BeforeValidator(_length), Field(gt=0, le=1e5), _schema_of(_LENGTH_PATTERN, "mm")]
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
Point2 = tuple[Coordinate, Coordinate]
Point3 = tuple[Coordinate, Coordinate, Coordinate]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]


class _Table(BaseModel):
    """A table of the file. A key nobody knows is an error: most are slips of the pen."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class BendEntry(_Table):
    """A bend of a flat, by a point on or beside its line."""

    at: Point2
    angle_deg: Annotated[float, Field(gt=0, le=180)] | None = None
    direction: Literal["up", "down"] | None = None
    radius: Length | None = None


class ThreadEntry(_Table):
    """A hole to be tapped."""

    at: Point2
    thread: str


class CountersinkEntry(_Table):
    """A hole to be countersunk."""

    at: Point2
    screw: str
    side: Literal["up", "down"] = "up"


class PartEntry(_Table):
    """A part that goes out."""

    id: Name
    file: str
    process: Literal["powder-bed", "sheet"] | None = None
    material: str | None = None
    thickness: Length | None = None
    units: str | None = None
    finish: Literal["none", "anodise", "hard-anodise", "powder-coat", "paint", "zinc", "dye"] = "none"
    #: What the shop says its finish adds to each face; else the handbook's.
    finish_per_face: Play | None = None
    quantity: Annotated[int, Field(ge=1, le=1_000_000)] = 1
    spares: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    k_factor: Annotated[float, Field(gt=0, lt=1)] | None = None
    bend_radius: Length | None = None
    finished_size: tuple[Length, Length, Length] | None = None
    bends: list[BendEntry] = []
    threads: list[ThreadEntry] = []
    countersinks: list[CountersinkEntry] = []
    #: SHA-256 of the file as it was when the order was checked last.
    checked_sha256: str | None = None
    #: Ordered from which supplier (an id of [[supplier]]).
    supplier: Name | None = None


class BoughtHole(_Table):
    """A fixing hole of a bought-in thing, in its own frame."""

    at: Point3
    diameter: Length


class BoughtEntry(_Table):
    """A bought-in thing: its envelope, mass and fixing holes. Its frame has the envelope's middle at the origin."""

    id: Name
    shape: Literal["box", "cylinder", "file"]
    #: box: along x, y, z.
    size: tuple[Length, Length, Length] | None = None
    #: cylinder, along z.
    diameter: Length | None = None
    height: Length | None = None
    file: str | None = None
    #: ± on every size of the envelope.
    tolerance: Play = 0.0
    mass: Mass | None = None
    quantity: Annotated[int, Field(ge=1, le=1_000_000)] = 1
    holes: list[BoughtHole] = []
    supplier: Name | None = None


class Screw(_Table):
    """The screws of a relation."""

    size: str
    length: Length | None = None
    #: A nut, or a tapped hole in the part that is named last.
    into: Literal["nut", "thread"] = "nut"
    head_diameter: Length | None = None
    head_height: Length | None = None


class Side(_Table):
    """One side of a relation: which part or bought-in thing, and by diameter which of its holes."""

    of: Name
    #: Only holes of this diameter take part; all holes when left out.
    diameter: Length | None = None
    #: For a bent part: the panel, by a point of the flat on it.
    panel_at: Point2 | None = None


class HolesMeet(_Table):
    """The holes of two parts come together with screws."""

    kind: Literal["holes-meet"]
    a: Side
    b: Side
    screw: Screw
    #: How many holes have to meet; all of the side with fewer when left out.
    count: Annotated[int, Field(ge=1)] | None = None


class Holds(_Table):
    """A part has a place for a thing, with so much play on each side."""

    kind: Literal["holds"]
    part: Name
    thing: Name
    play: Play
    #: About where its middle comes to lie in the part, mm.
    at: Point3 | None = None


class Apart(_Table):
    """Two things slide in each other, are pressed, or stay clear of each other."""

    kind: Literal["slides", "presses", "stays-clear"]
    a: Name
    b: Name
    play: Play | None = None


Relation = Annotated[HolesMeet | Holds | Apart, Field(discriminator="kind")]


class Place(_Table):
    """Where a part stands in the assembly, when no relation says it."""

    of: Name
    at: Point3 = (0.0, 0.0, 0.0)
    #: Turn about x, then y, then z, degrees.
    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)


class LoadEntry(_Table):
    """A force on a part."""

    on: Name
    force: Force
    at: Point3
    direction: tuple[float, float, float]


class RestEntry(_Table):
    """What a part stands on or is held by."""

    of: Name
    kind: Literal["feet", "clamp"]
    points: Annotated[list[Point3], Field(min_length=1)]
    #: Everything within this of a point is held.
    reach: Length = 3.0


class Allowed(_Table):
    """What the assembly may do."""

    deflection: Length | None = None
    #: Share of the yield stress that may be used: 0.5 is a factor of two.
    yield_share: Annotated[float, Field(gt=0, le=1)] = 0.5
    mass: Mass | None = None
    tip_angle_deg: Annotated[float, Field(gt=0, lt=90)] | None = None


class SupplierEntry(_Table):
    """Who delivers, and when."""

    id: Name
    lead_days: Annotated[int, Field(ge=0, le=1000)] | None = None
    transport_days: Annotated[int, Field(ge=0, le=1000)] = 0


class PriceEntry(_Table):
    """A quote as it was entered: for so many of a part."""

    part: Name
    quantity: Annotated[int, Field(ge=1)]
    each: Annotated[float, Field(ge=0)]
    setup: Annotated[float, Field(ge=0)] = 0.0


class About(_Table):
    """The order itself."""

    name: str = "Order"
    currency: str = "EUR"
    order_on: date | None = None
    need_by: date | None = None


class OrderFile(_Table):
    """An order file as a whole."""

    order: About = About()
    part: Annotated[list[PartEntry], Field(min_length=1)]
    bought: list[BoughtEntry] = []
    relation: list[Relation] = []
    place: list[Place] = []
    load: list[LoadEntry] = []
    rest: list[RestEntry] = []
    allowed: Allowed = Allowed()
    supplier: list[SupplierEntry] = []
    price: list[PriceEntry] = []


def schema() -> dict[str, Any]:
    """Return the JSON Schema of an order file."""
    return OrderFile.model_json_schema(by_alias=True)
