"""A solid of one thickness becomes the flat that it is bent from; or it is said why it is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lintsvc.handbook.bending import k_factor
from lintsvc.measure.solid_outline import shapes_of
from lintsvc.measure.solid_rest import skins_of
from lintsvc.measure.solid_skins import NotASheet, Skins
from lintsvc.measure.solid_unfold import Unfolded, unfold
from lintsvc.model.material import Value
from lintsvc.model.part import Part, ReadNote
from lintsvc.model.sheet import Bend, Direction, Entity, Line, Role, Shape, Sheet

_CHORD_MM = 0.005


@dataclass(frozen=True)
class SheetFound:
    """The flat of a sheet solid, or None with the reason. `thickness_mm` is that of the solid."""

    sheet: Sheet | None
    because: str = ""
    #: What was left out of the flat, in words: countersinks, counterbores.
    asides: tuple[str, ...] = ()


def as_sheet(part: Part, material: str | None, shop_k: float | None, family: str | None = None) -> Part:
    """Return the part of an exact solid with its flat, where it is a sheet; else with the reason why it is none."""
    exact = None if part.body is None else part.body.exact
    if exact is None:
        return part
    found = sheet_of(exact.solids, material, shop_k, family)
    if found.sheet is None:
        return replace(part, not_a_sheet_because=found.because)
    notes = tuple(ReadNote("info", text) for text in found.asides)
    return replace(part, kind="sheet", sheet=found.sheet, notes=(*part.notes, *notes))


def sheet_of(
    solids: tuple[Any, ...], material: str | None = None, shop_k: float | None = None, family: str | None = None
) -> SheetFound:
    """Recognise and unfold a sheet part.

    `solids`: exact solids of one file. `material`: a material id, for its K-factor; None takes the
    formula by radius and thickness. Never raises for what is wrong with the shape: `because` says it.
    """
    if len(solids) != 1:
        return SheetFound(None, f"the file holds {len(solids)} solids; a sheet part is one")

    def k_of(radius_mm: float, thickness_mm: float) -> Value:
        return k_factor(material or "", radius_mm, thickness_mm, shop_k, family=family)

    try:
        skins = skins_of(solids[0])
        flat = unfold(skins, lambda radius, thickness: k_of(radius, thickness).value)
    except NotASheet as error:
        return SheetFound(None, str(error))
    thickness = round(skins.thickness_mm, 6)
    entities = _contours(flat)
    bends = []
    for line in flat.bends:
        source = k_of(line.zone.radius_mm, thickness).source
        number = len(entities)
        direction: Direction = "up" if line.zone.upward else "down"
        why = f"bend of the solid, unfolded with K = {line.zone.k:.3f} ({source.text.rstrip('.')})"
        start, end = _rounded(line.start), _rounded(line.end)
        entities.append(_entity(number, "bend", (Line(start, end),), f"bend-{direction}", "bend", why))
        angle, radius = round(line.zone.angle_deg, 4), round(line.zone.radius_mm, 6)
        bends.append(Bend(start, end, angle, direction, radius, line.zone.k, number, why))
    sheet = Sheet(tuple(entities), _CHORD_MM, thickness_mm=thickness, bends=tuple(bends))
    return SheetFound(sheet, asides=tuple(_asides(skins)))


def _asides(skins: Skins) -> Iterator[str]:
    for name, found in (("countersink", skins.countersinks), ("counterbore", skins.counterbores)):
        if len(found) == 1:
            yield f"A {name} is part of the solid; the flat shows its through hole."
        elif found:
            yield f"{len(found)} {name}s are part of the solid; the flat shows their through holes."


def _contours(flat: Unfolded) -> list[Entity]:
    rings = [flat.outline.exterior, *flat.outline.interiors]  # type: ignore[attr-defined]
    entities: list[Entity] = []
    for number, ring in enumerate(rings):
        shapes = shapes_of(np.array(ring.coords)[:-1], flat.circles)
        why = "outline of the unfolded solid" if number == 0 else "cutout of the unfolded solid"
        entities.append(_entity(number, "contour", shapes, "cut", "cut", why))
    return entities


def _entity(number: int, kind: str, shapes: tuple[Shape, ...], layer: str, role: Role, why: str) -> Entity:
    return Entity(number, f"#{number}", kind, layer, shapes, role=role, role_why=why)


def _rounded(point: tuple[float, float]) -> tuple[float, float]:
    return round(float(point[0]), 6), round(float(point[1]), 6)
