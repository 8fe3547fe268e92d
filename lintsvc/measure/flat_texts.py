"""Texts in a flat, and the places of entities that make no contour."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_where import where
from lintsvc.model.finding import Where
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Point2, Sheet


@dataclass(frozen=True, slots=True)
class FlatText:
    """A text that is not outlines. `on_part`: it stands inside an outer contour."""

    text: str
    on_part: bool
    where: Where


def texts_of(sheet: Sheet, outers: tuple[Contour, ...]) -> list[FlatText]:
    """Return the texts of a sheet but those that were read as the data of a bend."""
    import shapely

    told = " ".join(x.role_why for x in sheet.entities if x.role == "bend")
    texts = [x for x in sheet.entities if x.kind == "text" and x.text.strip() and x.at is not None]
    texts = [x for x in texts if f"“{x.text[:40]}”" not in told]
    if not texts:
        return []
    inside = np.zeros(len(texts), bool)
    spots = np.array([x.at for x in texts])
    for contour in outers:
        inside |= shapely.contains_xy(shapely.make_valid(contour.polygon), spots[:, 0], spots[:, 1])
    return [
        FlatText(x.text.strip(), bool(on), where([x.at or (0.0, 0.0)], [x.number]))
        for x, on in zip(texts, inside, strict=True)
    ]


def where_of(entities: Iterable[Entity], fallback: Point2) -> Where:
    """Return the place around entities: their shapes, or where they stand."""
    points: list[Point2] = []
    numbers = []
    for x in entities:
        numbers.append(x.number)
        points += [x.at] if x.at is not None else []
        for shape in x.shapes:
            if isinstance(shape, Line):
                points += [shape.start, shape.end]
            elif isinstance(shape, (Circle, Arc)):
                (cx, cy), radius = shape.centre, shape.radius_mm
                points += [(cx - radius, cy - radius), (cx + radius, cy + radius)]
            else:
                points += shape.points
    return where(points or [fallback], numbers)
