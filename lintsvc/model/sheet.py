"""A flat part: drawn curves in mm, with what tells cut, bend and engrave lines apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Point2 = tuple[float, float]

Role = Literal["cut", "bend", "engrave", "note", "unclear"]
Direction = Literal["up", "down"]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece."""

    start: Point2
    end: Point2


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc, counter-clockwise from start to end (degrees)."""

    centre: Point2
    radius_mm: float
    start_deg: float
    end_deg: float


@dataclass(frozen=True, slots=True)
class Circle:
    """A full circle, its true radius kept."""

    centre: Point2
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Polyline:
    """A curve flattened to points within the sheet's chord tolerance."""

    points: tuple[Point2, ...]


Shape = Line | Arc | Circle | Polyline


@dataclass(frozen=True, slots=True)
class Entity:
    """One drawn thing of the file. `number` is its place in `Sheet.entities` and in reports."""

    number: int
    #: The file's own name for it: a DXF handle, an SVG id, or `#number`.
    handle: str
    #: The file's own word for its kind, lower case: line, arc, lwpolyline, spline, text, path …
    kind: str
    layer: str
    shapes: tuple[Shape, ...]
    #: DXF colour number (1 red, 2 yellow, 3 green …), the layer's own where the entity has none.
    colour: int | None = None
    line_type: str = ""
    text: str = ""
    role: Role = "cut"
    #: Why the role was given, in words for the report.
    role_why: str = ""
    #: Stroke colour as `#rrggbb`, where known.
    rgb: str = ""
    #: Where a thing without shapes stands: a text, a point, a dimension.
    at: Point2 | None = None
    #: For a bend line, what the file says of it by layer name or a text beside it. None: not said.
    bend_angle_deg: float | None = None
    bend_direction: Direction | None = None
    bend_radius_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Bend:
    """A bend line in the flat. Unknown values are None: asked for, never guessed in silence."""

    start: Point2
    end: Point2
    #: Angle bent through: 90 for an L, 0 for flat.
    angle_deg: float | None = None
    direction: Direction | None = None
    radius_mm: float | None = None
    k_factor: float | None = None
    entity: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class PanelPlace:
    """A panel of a sheet that was unfolded from a solid: its outline in the flat, and where it is on the solid.

    A point (x, y) of the flat lies on the solid's upper skin at `rows` · (x, y, 1). `inward`: unit vector from there
    into the sheet.
    """

    outline: tuple[Point2, ...]
    rows: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    inward: tuple[float, float, float]


@dataclass(frozen=True)
class Sheet:
    """Everything drawn in a flat file, nested blocks resolved, in mm."""

    entities: tuple[Entity, ...]
    #: Curves other than circles and arcs lie within this of their polylines.
    chord_tolerance_mm: float
    #: Known from the file (a STEP solid, a note); None for a plain flat.
    thickness_mm: float | None = None
    #: Bends known from the file itself (a STEP solid). Bend *lines* of a flat are entities with role `bend`.
    bends: tuple[Bend, ...] = ()
    #: Where the flat's panels are on the solid that it was unfolded from; empty for a plain flat.
    panels: tuple[PanelPlace, ...] = ()
    #: Of the solid that it was unfolded from: pockets and countersinks, which the flat does not show, are taken off.
    solid_mm3: float | None = None
