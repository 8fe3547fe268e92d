"""Limit tables of rules that stand in the handbook: one place for the numbers."""

from __future__ import annotations

from lintsvc.model.limit import Limit


def bend_radius_limits() -> tuple[Limit, ...]:
    """Return the least inside bend radius by material and thickness, as rows of a rule's limit table."""
    from lintsvc.handbook.bending import bend_radius_rows

    found = []
    material, over = "", 0.0
    for row in bend_radius_rows():
        if row.material != material:
            material, over = row.material, 0.0
        between = (over, row.up_to_mm)
        found.append(Limit(material, row.radius_per_thickness, "x thickness", row.source, thickness_mm=between))
        over = row.up_to_mm
    return tuple(found)
