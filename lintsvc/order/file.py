"""The order file: which parts go out, and what they have to do with each other.

Pydantic models, so that one text gives the reading, the errors and the published JSON Schema. Lengths are written with
their unit ("2.5 mm", "0.1 in") or as plain numbers in mm; forces as "20 N" or a number in N; masses as "40 g" or a
number in g. Angles are degrees. Everything but the parts is optional.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from lintsvc.model.choices import Cut
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


class _Table(BaseModel):
    """A table of the file. A key nobody knows is an error: most are slips of the pen."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _line(value: str) -> str:
    line_choice(value, read_length_mm)
    return value


LineText = Annotated[str, AfterValidator(_line)]


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
    thickness: Thickness | None = None
    units: str | None = None
    finish: Literal["none", "anodise", "hard-anodise", "powder-coat", "paint", "zinc", "dye"] = "none"
    #: What the shop says its finish adds to each face; else the handbook's.
    finish_per_face: Play | None = None
    #: What the shop holds the places of holes and the sizes of pockets to, ±; else the usual of the process.
    tolerance: Play | None = None
    #: What the shop holds the angle of a bend to, ±.
    bend_tolerance_deg: Annotated[float, Field(ge=0, le=10)] | None = None
    #: How a sheet part is cut; nothing said is taken as laser.
    cut: Cut | None = None
    quantity: Several = 1
    spares: Count | None = None
    k_factor: Annotated[float, Field(gt=0, lt=1)] | None = None
    bend_radius: Length | None = None
    finished_size: tuple[Length, Length, Length] | None = None
    #: What lines are for: "layer:FOLD=bend up".
    lines: list[LineText] = []
    bends: list[BendEntry] = []
    threads: list[ThreadEntry] = []
    countersinks: list[CountersinkEntry] = []
    #: SHA-256 of the file as it was when the order was checked last.
    checked_sha256: str | None = None
    #: Ordered from which supplier (an id of [[supplier]]).
    supplier: Name | None = None
    #: Suppliers that it goes to afterwards, in this order: an anodiser, a painter.
    then: list[Name] = []
    #: The share of these parts that is expected to arrive unusable, as the user or the shop has it.
    bad_share: Share | None = None


class BoughtHole(_Table):
    """A fixing hole of a bought-in thing, in its own frame."""

    at: Point3
    diameter: Length
    #: How deep it is from the face that `at` lies on, for a hole that does not go through.
    depth: Length | None = None


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
    #: The unit of a file that names none.
    units: str | None = None
    #: ± on every size of the envelope.
    tolerance: Play = 0.0
    mass: Mass | None = None
    quantity: Several = 1
    holes: list[BoughtHole] = []
    supplier: Name | None = None


class Screw(_Table):
    """The screws of a relation."""

    size: str
    length: Length | None = None
    #: A nut, or a tapped hole in the part that is named last.
    into: Literal["nut", "thread"] = "nut"
    #: A hexagon socket, or a hexagon for a spanner; a socket head where nothing is said of the head at all.
    head: Literal["socket", "hexagon"] | None = None
    head_diameter: Length | None = None
    head_height: Length | None = None
    #: Across the tool that turns it; the head's diameter when left out.
    tool_diameter: Length | None = None


class Side(_Table):
    """One side of a relation: which part or bought-in thing, and by diameter which of its holes."""

    of: Name
    #: Only holes of this diameter take part; all holes when left out.
    diameter: Length | None = None
    #: For a bent part: the panel, by a point of the flat on it.
    panel_at: Point2 | None = None
    #: The side that touches the other part: of a sheet its upper or lower in the flat, else where its z points.
    #: Found by itself when left out.
    face: Literal["up", "down"] | None = None


class HolesMeet(_Table):
    """The holes of two parts come together with screws."""

    kind: Literal["holes-meet"]
    a: Side
    b: Side
    screw: Screw
    #: How many holes have to meet; all of the side with fewer when left out.
    count: Several | None = None
    #: What the screws go through between the two, a gasket or a spacer, from `a` on.
    through: list[Name] = []


class Holds(_Table):
    """A part has a place for a thing, with so much play on each side."""

    kind: Literal["holds"]
    part: Name
    thing: Name
    play: Play
    #: About where its middle comes to lie in the part, mm.
    at: Point3 | None = None
    #: How it is turned there: about x, then y, then z, degrees.
    turn_deg: tuple[Degrees, Degrees, Degrees] = (0.0, 0.0, 0.0)
    #: The pocket is kept free of the part's finish.
    masked: bool = False


class Apart(_Table):
    """Two things slide in each other, are pressed, or stay clear of each other."""

    kind: Literal["slides", "presses", "stays-clear"]
    a: Name
    b: Name
    play: Play | None = None
    #: How far, and which way, `b` slides from where it stands: x, y, z in the frame of `a`.
    travel: Point3 | None = None

    @model_validator(mode="after")
    def _goes_somewhere(self) -> Apart:
        if self.travel is not None and self.kind != "slides":
            raise ValueError("only what slides has a travel")
        if self.travel is not None and not any(self.travel):
            raise ValueError("a travel has a length; write how far b slides, like [0, 0, -40]")
        return self


class FaceSide(_Table):
    """One of two faces that lie on each other, by a point on it in the frame of its part or thing."""

    of: Name
    at: Point3


class FacesMeet(_Table):
    """A face of one thing lies on a face of another, the two points on each other."""

    kind: Literal["faces-meet"]
    a: FaceSide
    b: FaceSide
    #: How far `b` is turned about the way out of `a`'s face.
    turn_deg: Degrees = 0.0


#: The kinds of relations there are.
KINDS = ("holes-meet", "faces-meet", "holds", "slides", "presses", "stays-clear")
Relation = Annotated[HolesMeet | FacesMeet | Holds | Apart, Field(discriminator="kind")]


class Place(_Table):
    """Where a part stands in the assembly, when no relation says it."""

    of: Name
    at: Point3 = (0.0, 0.0, 0.0)
    #: Turn about x, then y, then z, degrees.
    turn_deg: tuple[Degrees, Degrees, Degrees] = (0.0, 0.0, 0.0)


class LoadEntry(_Table):
    """A force on a part: where and which way in the frame of the part, a sheet part as folded."""

    on: Name
    force: Force
    at: Point3
    direction: tuple[Component, Component, Component]
    #: "face": spread evenly over the whole flat face that `at` lies on. Else it acts about the point.
    over: Literal["face"] | None = None

    @field_validator("direction")
    @classmethod
    def _long(cls, value: tuple[float, float, float]) -> tuple[float, float, float]:
        if not any(value):
            raise ValueError("a load's direction has no length; write which way it pushes, like [0, 0, -1]")
        return value


class RestEntry(_Table):
    """What a part stands on or is held by: points, or the whole edge of a flat plate."""

    of: Name
    #: A clamp holds fast; feet carry, and let the part tilt and slide.
    kind: Literal["feet", "clamp"]
    #: In the frame of the part, a sheet part as folded.
    points: list[Point3] = []
    along: Literal["edge"] | None = None
    #: Everything within this of a point, or of the edge, is held.
    reach: Length = 3.0

    @model_validator(mode="after")
    def _one_of_both(self) -> RestEntry:
        if bool(self.points) == (self.along is not None):
            raise ValueError('say where it rests: points = [[x, y, z], …], or along = "edge"')
        return self


class Allowed(_Table):
    """What the assembly may do."""

    deflection: Length | None = None
    #: Share of the yield stress that may be used: 0.5 is a factor of two.
    yield_share: Annotated[float, Field(gt=0, le=1)] = 0.5
    #: What the assembly may weigh for whoever carries it.
    mass: Mass | None = None
    tip_angle_deg: Annotated[float, Field(gt=0, lt=90)] | None = None


class SupplierEntry(_Table):
    """Who delivers, and when."""

    id: Name
    #: Working days from the order to the parcel.
    lead_days: Annotated[int, Field(ge=0, le=1000)] | None = None
    #: Working days on the way.
    transport_days: Annotated[int, Field(ge=0, le=1000)] = 0
    #: What a parcel costs, whatever is in it.
    transport: Money = 0.0
    #: Days of the week on which nobody works there.
    weekend: list[Weekday] = ["saturday", "sunday"]
    #: Days on which nobody works there beside weekends.
    closed: list[Days] = []
    bad_share: Share | None = None


class PriceEntry(_Table):
    """A quote as it was entered: for so many of a part, or of a bought-in thing."""

    part: Name
    quantity: Several
    each: Money
    setup: Money = 0.0


class RateEntry(_Table):
    """One rate of the user's own, for parts without a quote: so much money for one of what drives cost."""

    #: Only for parts of this process, or from this supplier; for all when left out.
    process: Literal["powder-bed", "sheet"] | None = None
    supplier: Name | None = None
    per: Literal[
        "order",
        "part",
        "cut-metre",
        "pierce",
        "bend",
        "tap",
        "countersink",
        "kg",
        "box-litre",
        "packed-cm",
        "finish-dm2",
    ]
    price: Money


class About(_Table):
    """The order itself."""

    name: str = "Order"
    currency: str = "EUR"
    order_on: date | None = None
    need_by: date | None = None
    #: Working days to put it together once the last part is there.
    assembly_days: Annotated[int, Field(ge=0, le=1000)] = 0
    #: Days of the week, and days, on which nobody works here.
    weekend: list[Weekday] = ["saturday", "sunday"]
    closed: list[Days] = []
    #: What earlier parcels have shown of the shops: a shop.toml, from this file's folder.
    shop: str | None = None
    #: The chance that enough good parts arrive which is wanted, for spares.
    enough_chance: Annotated[float, Field(gt=0, lt=1)] = 0.95


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
    rate: list[RateEntry] = []


def schema() -> dict[str, Any]:
    """Return the JSON Schema of an order file."""
    return OrderFile.model_json_schema(by_alias=True)
