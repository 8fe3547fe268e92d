"""Places that rules point at without measuring anything."""

from __future__ import annotations

from lintsvc.model.finding import Point3, Where
from lintsvc.model.sheet import Bend


def where_of_spot(point_mm: Point3, reach_mm: float = 1.0) -> Where:
    """Return the place of a spot: the point, and a box that reaches so far to all sides."""
    x, y, z = point_mm
    r = reach_mm
    return Where((x, y, z), ((x - r, y - r, z - r), (x + r, y + r, z + r)))


def where_of_bend(bend: Bend) -> Where:
    """Return the place of a bend line: its middle, the box around it, the line itself."""
    from lintsvc.measure.flat_where import where

    return where((), () if bend.entity is None else (bend.entity,), lines=((bend.start, bend.end),))
