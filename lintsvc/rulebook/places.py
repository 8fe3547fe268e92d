"""Places that rules point at without measuring anything."""

from __future__ import annotations

from lintsvc.model.finding import Where
from lintsvc.model.sheet import Bend


def where_of_bend(bend: Bend) -> Where:
    """Return the place of a bend line: its middle, the box around it, the line itself."""
    from lintsvc.measure.flat_where import where

    return where((), () if bend.entity is None else (bend.entity,), lines=((bend.start, bend.end),))
