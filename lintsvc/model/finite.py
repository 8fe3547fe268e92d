"""Keeping numbers that are none out of findings: reports, pictures and highlights can then rely on them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from lintsvc.model.finding import Point3, Quantity, Where


def finite_quantity(quantity: Quantity | None) -> Quantity | None:
    """Return the quantity, None where its value is infinite or not a number."""
    return quantity if quantity is not None and math.isfinite(quantity.value) else None


def finite_where(where: Where | None) -> Where | None:
    """Return the place without lines and spans that cannot be drawn; None where it is nowhere itself."""
    if where is None or not _finite((where.point, *where.box)):
        return None
    lines = tuple(x for x in where.lines if _finite(x))
    span = where.span if where.span is not None and _finite(where.span) else None
    if len(lines) == len(where.lines) and span is where.span:
        return where
    return replace(where, lines=lines, span=span)


def _finite(points: Iterable[Point3]) -> bool:
    return all(math.isfinite(x) for point in points for x in point)
