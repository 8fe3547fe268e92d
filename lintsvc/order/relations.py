"""What the parts of an order have to do with each other, as its file says it."""

# ruff: noqa: RUF012  (pydantic copies lists that are defaults)

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from lintsvc.order.quantities import Degrees, Length, Name, Play, Point2, Point3, Several, Table


class Screw(Table):
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


class Side(Table):
    """One side of a relation: which part or bought-in thing, and by diameter which of its holes."""

    of: Name
    #: Only holes of this diameter take part; all holes when left out.
    diameter: Length | None = None
    #: For a bent part: the panel, by a point of the flat on it.
    panel_at: Point2 | None = None
    #: The side that touches the other part: of a sheet its upper or lower in the flat, else where its z points.
    #: Found by itself when left out.
    face: Literal["up", "down"] | None = None


class HolesMeet(Table):
    """The holes of two parts come together with screws."""

    kind: Literal["holes-meet"]
    a: Side
    b: Side
    screw: Screw
    #: How many holes have to meet; all of the side with fewer when left out.
    count: Several | None = None
    #: What the screws go through between the two, a gasket or a spacer, from `a` on.
    through: list[Name] = []


class Holds(Table):
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


class Apart(Table):
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


class FaceSide(Table):
    """One of two faces that lie on each other, by a point on it in the frame of its part or thing."""

    of: Name
    at: Point3


class FacesMeet(Table):
    """A face of one thing lies on a face of another, the two points on each other."""

    kind: Literal["faces-meet"]
    a: FaceSide
    b: FaceSide
    #: How far `b` is turned about the way out of `a`'s face.
    turn_deg: Degrees = 0.0


#: The kinds of relations there are.
KINDS = ("holes-meet", "faces-meet", "holds", "slides", "presses", "stays-clear")
Relation = Annotated[HolesMeet | FacesMeet | Holds | Apart, Field(discriminator="kind")]
