"""The order file: which parts go out, and what they have to do with each other.

Pydantic models, so that one text gives the reading, the errors and the published JSON Schema. Everything but the parts
is optional.
"""

# ruff: noqa: RUF012  (pydantic copies lists that are defaults)

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from lintsvc.model.choices import Cut
from lintsvc.order.quantities import (
    Component,
    Count,
    Days,
    Degrees,
    Force,
    Length,
    LineText,
    Mass,
    Money,
    Name,
    Play,
    Point2,
    Point3,
    Several,
    Share,
    Table,
    Thickness,
    Weekday,
)
from lintsvc.order.relations import Relation


class BendEntry(Table):
    """A bend of a flat, by a point on or beside its line."""

    at: Point2
    angle_deg: Annotated[float, Field(gt=0, le=180)] | None = None
    direction: Literal["up", "down"] | None = None
    radius: Length | None = None


class ThreadEntry(Table):
    """A hole to be tapped."""

    at: Point2
    thread: str


class CountersinkEntry(Table):
    """A hole to be countersunk."""

    at: Point2
    screw: str
    side: Literal["up", "down"] = "up"


class PartEntry(Table):
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


class BoughtHole(Table):
    """A fixing hole of a bought-in thing, in its own frame."""

    at: Point3
    diameter: Length
    #: How deep it is from the face that `at` lies on, for a hole that does not go through.
    depth: Length | None = None


class BoughtEntry(Table):
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


class Place(Table):
    """Where a part stands in the assembly, when no relation says it."""

    of: Name
    at: Point3 = (0.0, 0.0, 0.0)
    #: Turn about x, then y, then z, degrees.
    turn_deg: tuple[Degrees, Degrees, Degrees] = (0.0, 0.0, 0.0)


class LoadEntry(Table):
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


class RestEntry(Table):
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


class Allowed(Table):
    """What the assembly may do."""

    deflection: Length | None = None
    #: Share of the yield stress that may be used: 0.5 is a factor of two.
    yield_share: Annotated[float, Field(gt=0, le=1)] = 0.5
    #: What the assembly may weigh for whoever carries it.
    mass: Mass | None = None
    tip_angle_deg: Annotated[float, Field(gt=0, lt=90)] | None = None


class SupplierEntry(Table):
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


class PriceEntry(Table):
    """A quote as it was entered: for so many of a part, or of a bought-in thing."""

    part: Name
    quantity: Several
    each: Money
    setup: Money = 0.0


class RateEntry(Table):
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


class About(Table):
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


class OrderFile(Table):
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
