"""Flat files made by hand: DXF and SVG text, and measures of what was read from them."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Polyline, Shape

Tags = Sequence[tuple[int, object]]
Points = NDArray[np.float64]


# ---- DXF


def tags(*pairs: tuple[int, object]) -> str:
    """Group codes and values as DXF text."""
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


def entity(kind: str, *pairs: tuple[int, object], layer: str = "0") -> str:
    """An entity on a layer."""
    return tags((0, kind), (8, layer), *pairs)


def line(a: Sequence[float], b: Sequence[float], *more: tuple[int, object], layer: str = "0") -> str:
    """A LINE; points of two or three numbers."""
    first = [(10 + 10 * i, v) for i, v in enumerate(a)]
    return entity("LINE", *first, *((11 + 10 * i, v) for i, v in enumerate(b)), *more, layer=layer)


def circle(x: float, y: float, r: float, *more: tuple[int, object], layer: str = "0") -> str:
    """A CIRCLE."""
    return entity("CIRCLE", (10, x), (20, y), (40, r), *more, layer=layer)


def rectangle(w: float, h: float, x: float = 0.0, y: float = 0.0, layer: str = "0") -> str:
    """Four lines."""
    p = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    return "".join(line(p[i], p[(i + 1) % 4], layer=layer) for i in range(4))


def polyline(vertices: Iterable[Sequence[float]], closed: bool = True, layer: str = "0") -> str:
    """An LWPOLYLINE of (x, y) or (x, y, bulge)."""
    pairs: list[tuple[int, object]] = [(70, int(closed))]
    for v in vertices:
        pairs += [(10, v[0]), (20, v[1])]
        if len(v) > 2:
            pairs.append((42, v[2]))
    return entity("LWPOLYLINE", *pairs, layer=layer)


def block(name: str, body: str, base: tuple[float, float] = (0.0, 0.0), flags: int = 0) -> str:
    """A block with what it holds."""
    return tags((0, "BLOCK"), (2, name), (70, flags), (10, base[0]), (20, base[1])) + body + tags((0, "ENDBLK"))


def insert(name: str, *more: tuple[int, object], layer: str = "0") -> str:
    """An INSERT."""
    return entity("INSERT", (2, name), *more, layer=layer)


def layer_row(name: str, *more: tuple[int, object]) -> str:
    """A row of the layer table."""
    return tags((0, "LAYER"), (2, name), *more)


def dxf(
    entities: str,
    *,
    blocks: str = "",
    layers: str = "",
    units: int | None = 4,
    version: str = "AC1015",
    end: bool = True,
) -> str:
    """A whole DXF file as text."""
    header = tags((9, "$ACADVER"), (1, version))
    if units is not None:
        header += tags((9, "$INSUNITS"), (70, units))
    sections = [("HEADER", header), ("TABLES", tags((0, "TABLE"), (2, "LAYER")) + layers + tags((0, "ENDTAB")))]
    sections += [("BLOCKS", blocks), ("ENTITIES", entities)]
    body = "".join(tags((0, "SECTION"), (2, name)) + text + tags((0, "ENDSEC")) for name, text in sections)
    return body + (tags((0, "EOF")) if end else "")


# ---- SVG


def svg(body: str, size: str = 'width="100mm" height="100mm" viewBox="0 0 100 100"') -> str:
    """A whole SVG file as text."""
    space = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return f"<svg {space} {size}>{body}</svg>"


# ---- what was read


def drawn(part: Part) -> list[Entity]:
    """The entities with shapes."""
    assert part.sheet is not None
    return [x for x in part.sheet.entities if x.shapes]


def only(part: Part) -> Shape:
    """The single shape of the part."""
    (entity_,) = drawn(part)
    (shape,) = entity_.shapes
    return shape


def notes(part: Part, kind: str) -> list[str]:
    """Texts of the notes of a kind."""
    return [x.text for x in part.notes if x.kind == kind]


def points_of(shape: Shape, steps: int = 360) -> Points:
    """Points on a shape: corners of straight ones, many of round ones."""
    if isinstance(shape, Line):
        return np.array([shape.start, shape.end])
    if isinstance(shape, Polyline):
        return np.array(shape.points)
    begin, end = (shape.start_deg, shape.end_deg) if isinstance(shape, Arc) else (0.0, 360.0)
    angle = np.radians(np.linspace(begin, end, steps + 1))
    return np.array(shape.centre) + shape.radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def outline(shapes: Iterable[Shape]) -> Any:
    """The shapes as shapely lines."""
    return shapely.MultiLineString([points_of(s) for s in shapes])


def furthest(points: Points, shapes: Iterable[Shape]) -> float:
    """How far the furthest of the points lies from the shapes (round shapes to about 1e-4 of their radius)."""
    return float(shapely.distance(shapely.points(points), outline(shapes)).max())


def ends_of(shape: Shape) -> tuple[tuple[float, float], tuple[float, float]]:
    """First and last point of a shape."""
    points = points_of(shape, 1)
    return tuple(points[0]), tuple(points[-1])


def is_round(shape: Shape) -> bool:
    """True for circles and arcs."""
    return isinstance(shape, (Circle, Arc))


# ---- the corpora


def facts_of(shared: Path, kind: str) -> dict[str, dict[str, Any]]:
    """Observed facts of the open corpus by file."""
    csv.field_size_limit(sys.maxsize)
    with (shared / "corpus/open/INDEX.tsv").open(encoding="utf8") as file:
        table = csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        return {r["file"]: json.loads(r["observed_facts_json"]) for r in table if r["format"] == kind}
