"""Places that rules point at without measuring anything."""

from __future__ import annotations

from lintsvc.model.finding import Where
from lintsvc.model.sheet import Bend


def where_of_bend(bend: Bend) -> Where:
    """Return the place of a bend line: its middle, the box around it, the line itself."""
    (x1, y1), (x2, y2) = bend.start, bend.end
    return Where(
        point=((x1 + x2) / 2, (y1 + y2) / 2, 0.0),
        box=((min(x1, x2), min(y1, y2), 0.0), (max(x1, x2), max(y1, y2), 0.0)),
        entities=() if bend.entity is None else (bend.entity,),
        lines=(((x1, y1, 0.0), (x2, y2, 0.0)),),
    )
