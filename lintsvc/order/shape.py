"""What an order needs to know of a part's geometry: its closed mesh, its holes as they open in space, its bends.

A sheet part is taken as folded, with its largest panel where it lies in the flat; a body as its file has it. A shape
is small enough to be kept beside the part's report, so that an order of unchanged parts measures nothing again.
"""

from __future__ import annotations

import io
import json
from dataclasses import asdict, dataclass, field, fields, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from lintsvc.order.cost import Drivers, drivers_of

if TYPE_CHECKING:
    from lintsvc.rulebook.checked import Checked

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


class NoShape(Exception):
    """A part has no shape to put together with others; says why."""


@dataclass(frozen=True, eq=False)
class Holes:
    """The openings of round holes, one row each: a through hole has two.

    `point` (k, 3) middle of the opening, `normal` (k, 3) out of the part, `diameter_mm` (k,), `depth_mm` (k,) along the
    hole, `hole` (k,) number of the hole, `through` (k,), `panel` (k,) panel of a sheet, −1 on a body or in a bend,
    `upper` (k,) on the upper side of a flat, `flat` (k, 2) centre in the flat, NaN on a body.
    """

    point: Floats
    normal: Floats
    diameter_mm: Floats
    depth_mm: Floats
    hole: Ints
    through: NDArray[np.bool_]
    panel: Ints
    upper: NDArray[np.bool_]
    flat: Floats

    def __len__(self) -> int:
        """How many openings there are."""
        return len(self.point)

    def only(self, which: Any) -> Holes:
        """Return some of the openings, by a mask or by their numbers."""
        return Holes(*(getattr(self, x.name)[which] for x in fields(self)))


def no_holes() -> Holes:
    """Return the openings of a part without holes."""
    i, b = np.zeros(0, np.int32), np.zeros(0, bool)
    return Holes(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), np.zeros(0), i, b, i, b, np.zeros((0, 2)))


@dataclass(frozen=True, eq=False)
class Shape:
    """A part or bought-in thing in space, mm. `volume_mm3` and `centre_mm` are None where the mesh is not closed."""

    kind: Literal["body", "sheet", "bought"]
    vertices: Floats = field(repr=False)
    faces: Ints = field(repr=False)
    holes: Holes = field(repr=False)
    volume_mm3: float | None
    centre_mm: tuple[float, float, float] | None
    area_mm2: float
    thickness_mm: float | None = None
    #: By hole number: the thread it is tapped for, the screw it is countersunk for; empty for neither.
    threads: tuple[str, ...] = ()
    countersinks: tuple[str, ...] = ()
    #: By panel: the bends between it and the panel that stays in place, the nearest to that panel first.
    panel_bends: tuple[tuple[int, ...], ...] = ()
    #: A point on each bend's axis and its direction, in space.
    bend_point: Floats = field(default_factory=lambda: np.zeros((0, 3)), repr=False)
    bend_along: Floats = field(default_factory=lambda: np.zeros((0, 3)), repr=False)
    #: What drives its cost; None for what is not made.
    drivers: Drivers | None = None

    @property
    def box(self) -> tuple[Floats, Floats]:
        """Least and largest corner."""
        return self.vertices.min(axis=0), self.vertices.max(axis=0)

    @property
    def middle(self) -> tuple[float, float, float]:
        """Its centre of gravity; of a mesh that is not closed, the middle of its box."""
        if self.centre_mm is not None:
            return self.centre_mm
        low, high = self.box
        x, y, z = ((low + high) / 2).tolist()
        return x, y, z


def shape_of(checked: Checked) -> Shape:
    """Return the shape of a checked part. Raises NoShape with the reason."""
    from lintsvc.model.part import NotMeasurable
    from lintsvc.rulebook.rule import CannotCheck

    try:
        if checked.part.kind == "sheet" and checked.choices.process != "powder-bed":
            return _sheet(checked)
        return _body(checked)
    except (CannotCheck, NotMeasurable, ValueError) as error:
        raise NoShape(str(error)) from None


def volume_and_centre(vertices: Floats, faces: NDArray[Any]) -> tuple[float, tuple[float, float, float]]:
    """Return volume (mm3) and centre of gravity of what a closed mesh encloses."""
    origin = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    a, b, c = ((vertices - origin)[faces[:, i]] for i in range(3))
    sixfold = np.einsum("ij,ij->i", a, np.cross(b, c))
    volume = float(sixfold.sum()) / 6
    if abs(volume) < 1e-9:
        raise NoShape("its mesh encloses no volume")
    x, y, z = origin + (sixfold[:, None] * (a + b + c)).sum(axis=0) / (24 * volume)
    return volume, (float(x), float(y), float(z))


def area_of(vertices: Floats, faces: NDArray[Any]) -> float:
    """Return the area of a mesh (mm2)."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2


def _body(checked: Checked) -> Shape:
    body = checked.body
    mesh = body.mesh
    if not len(mesh):
        raise NoShape("it has no faces")
    volume, centre = volume_and_centre(mesh.vertices, mesh.faces) if body.watertight else (None, None)
    rows: list[tuple[Any, ...]] = []
    for number, bore in enumerate(body.bores):
        for end, out, closed in ((bore.low, -bore.axis, bore.closed[0]), (bore.high, bore.axis, bore.closed[1])):
            if not closed:
                row = (end, out, bore.diameter_mm, bore.depth_mm, number, bore.through, -1, True, (np.nan, np.nan))
                rows.append(row)
    return Shape(
        "body",
        mesh.vertices,
        mesh.faces,
        _holes(rows),
        volume,
        centre,
        body.area_mm2,
        threads=("",) * len(body.bores),
        countersinks=("",) * len(body.bores),
    )


def _holes(rows: list[tuple[Any, ...]]) -> Holes:
    if not rows:
        return no_holes()
    point, normal, diameter, depth, hole, through, panel, upper, flat = zip(*rows, strict=True)
    return Holes(
        np.array(point, float),
        np.array(normal, float),
        np.array(diameter, float),
        np.array(depth, float),
        np.array(hole, np.int32),
        np.array(through, bool),
        np.array(panel, np.int32),
        np.array(upper, bool),
        np.array(flat, float),
    )


def _sheet(checked: Checked) -> Shape:
    import networkx as nx
    import shapely

    flat = checked.flat
    for bend in flat.bends:
        if bend.start == bend.end:
            where = f"{bend.start[0]:g}, {bend.start[1]:g}"
            raise NoShape(f"a bend is named at {where}, and no bend line is drawn there")
    folded = checked.folded
    thickness = folded.thickness_mm
    centres = np.array([x.centre_mm for x in flat.holes], float).reshape(-1, 2)
    low, high = folded.folded_points(centres, 0.0), folded.folded_points(centres, thickness)
    # A hole's middle lies beside the sheet: place it by the panel whose rectangle it is in.
    panels = np.full(len(centres), -1, np.int32)
    for number, panel in enumerate(folded.panels):
        filled = shapely.Polygon(panel.exterior)
        inside = shapely.contains_xy(filled, centres[:, 0], centres[:, 1]) if len(centres) else np.zeros(0, bool)
        panels[inside] = number
        place = folded.transform_of(number)
        for points, height in ((low, 0.0), (high, thickness)):
            spots = np.column_stack([centres[inside], np.full(int(inside.sum()), height)])
            points[inside] = spots @ place[:3, :3].T + place[:3, 3]
    rows: list[tuple[Any, ...]] = []
    for number, hole in enumerate(flat.holes):
        if np.isnan(low[number]).any():
            continue
        up = (high[number] - low[number]) / np.linalg.norm(high[number] - low[number])
        for point, out, upper in ((low[number], -up, False), (high[number], up, True)):
            rows.append((point, out, hole.diameter_mm, thickness, number, True, panels[number], upper, hole.centre_mm))
    numbers = {hole.contour: i for i, hole in enumerate(flat.holes)}
    threads, sinks = [""] * len(flat.holes), [""] * len(flat.holes)
    for found, names in ((checked.screws.tapped, threads), (checked.screws.countersunk, sinks)):
        for screw in found:
            if screw.hole is not None and screw.hole.contour in numbers:
                names[numbers[screw.hole.contour]] = screw.said
    ways = nx.single_source_shortest_path(folded.graph, folded.base)
    graph: Any = folded.graph
    panel_bends = tuple(
        tuple(min(int(x["bend"]) for x in graph[a][b].values()) for a, b in pairwise(way))
        for way in (ways.get(panel, [folded.base]) for panel in range(len(folded.panels)))
    )
    points, along = _bend_axes(folded)
    volume, centre = volume_and_centre(folded.vertices, folded.faces)
    return Shape(
        "sheet",
        folded.vertices,
        folded.faces,
        _holes(rows),
        volume,
        centre,
        area_of(folded.vertices, folded.faces),
        thickness,
        tuple(threads),
        tuple(sinks),
        panel_bends,
        points,
        along,
    )


def _bend_axes(folded: Any) -> tuple[Floats, Floats]:
    """Return a point in the middle of each bend and the direction along it, as folded; by the bend's number."""
    count = max((b.number for b in folded.bends), default=-1) + 1
    points, along = np.zeros((count, 3)), np.tile([1.0, 0.0, 0.0], (count, 1))
    for zone, place in zip(folded.zones, folded.place.zones, strict=True):
        bend = folded.bends[zone.bend]
        # At the side of the bend that its zone's place is of; the bend's own width is small beside a lever.
        x, y = bend.origin
        points[bend.number] = place[:3, :3] @ np.array([x, y, folded.thickness_mm / 2]) + place[:3, 3]
        along[bend.number] = place[:3, :3] @ np.array([*bend.along, 0.0])
    return points, along


def shape_bytes(checked: Checked | None) -> bytes:
    """Return the shape of a checked part, or why there is none, as kept. None: the file could not be read."""
    try:
        if checked is None:
            raise NoShape("the file could not be read")
        return to_bytes(replace(shape_of(checked), drivers=drivers_of(checked)))
    except NoShape as why:
        return to_bytes(why)


_NO_SHAPE = b"no shape: "


def to_bytes(shape: Shape | NoShape) -> bytes:
    """Return the shape, or why there is none, as bytes that `from_bytes` reads: arrays and JSON, no pickles."""
    if isinstance(shape, NoShape):
        return _NO_SHAPE + str(shape).encode("utf-8", "replace")
    arrays: dict[str, Any] = {"vertices": shape.vertices, "faces": shape.faces}
    arrays |= {f"holes_{x.name}": getattr(shape.holes, x.name) for x in fields(Holes)}
    arrays |= {"bend_point": shape.bend_point, "bend_along": shape.bend_along}
    rest = {x.name: getattr(shape, x.name) for x in fields(Shape) if x.name not in ("holes", "drivers", *arrays)}
    rest["drivers"] = None if shape.drivers is None else asdict(shape.drivers)
    arrays["rest"] = np.frombuffer(json.dumps(rest).encode(), np.uint8)
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


def from_bytes(data: bytes) -> Shape:
    """Return what `to_bytes` wrote. Raises NoShape for a reason, ValueError for anything else."""
    import zipfile

    if data.startswith(_NO_SHAPE):
        raise NoShape(data.removeprefix(_NO_SHAPE).decode("utf-8", "replace"))
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as found:
            rest = json.loads(found["rest"].tobytes())
            holes = Holes(*(found[f"holes_{x.name}"] for x in fields(Holes)))
            arrays = {x: found[x] for x in ("vertices", "faces", "bend_point", "bend_along")}
    except (zipfile.BadZipFile, KeyError, OSError, EOFError) as error:
        raise ValueError(f"no shape: {error}") from None
    for key in ("threads", "countersinks"):
        rest[key] = tuple(rest[key])
    rest["panel_bends"] = tuple(tuple(x) for x in rest["panel_bends"])
    drivers: dict[str, Any] | None = rest.get("drivers")
    if drivers is not None:
        lists: dict[str, Any] = {name: tuple(x) if isinstance(x, list) else x for name, x in drivers.items()}
        rest["drivers"] = Drivers(**lists)
    rest["centre_mm"] = None if rest["centre_mm"] is None else tuple(rest["centre_mm"])
    return Shape(holes=holes, **arrays, **rest)
