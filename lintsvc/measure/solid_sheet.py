"""A solid of one thickness becomes the flat that it is bent from; or it is said why it is none."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lintsvc.handbook.bending import k_factor
from lintsvc.measure.solid_outline import shapes_of
from lintsvc.measure.solid_rest import skins_of
from lintsvc.measure.solid_skins import NotASheet, Skins, in_mm
from lintsvc.measure.solid_unfold import Unfolded, unfold
from lintsvc.model.material import Value
from lintsvc.model.part import Part, ReadNote
from lintsvc.model.sheet import Bend, Circle, Direction, Entity, Line, Role, Shape, Sheet
from lintsvc.readers.step_names import NamedCylinder

_CHORD_MM = 0.005
#: A circle of the flat is that of a named face within this (mm).
_NAMED_MM = 0.01
#: Thicker angles drawn without a radius are milled or cast (common practice, no source): thin sheet is often
#: modelled with sharp bends, plate is not bent around nothing.
_THICKEST_SHARP_MM = 6.0


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
    found = sheet_of(exact.solids, material, shop_k, family, exact.named)
    if found.sheet is None:
        return replace(part, not_a_sheet_because=found.because)
    notes = tuple(ReadNote("info", text) for text in found.asides)
    return replace(part, kind="sheet", sheet=found.sheet, notes=(*part.notes, *notes))


def sheet_of(
    solids: tuple[Any, ...],
    material: str | None = None,
    shop_k: float | None = None,
    family: str | None = None,
    named: Sequence[NamedCylinder] = (),
) -> SheetFound:
    """Recognise and unfold a sheet part.

    `solids`: exact solids of one file. `material`: a material id, for its K-factor; None takes the
    formula by radius and thickness. `named`: round faces with names, which become layers of the flat.
    Never raises for what is wrong with the shape: `because` says it.
    """
    if len(solids) != 1:
        return SheetFound(None, f"the file holds {len(solids)} solids; a sheet part is one")

    def k_of(radius_mm: float, thickness_mm: float) -> Value:
        return k_factor(material or "", radius_mm, thickness_mm, shop_k, family=family)

    try:
        skins = skins_of(solids[0])
        if skins.sharp and skins.thickness_mm > _THICKEST_SHARP_MM:
            raise NotASheet(
                f"it is {skins.thickness_mm:.4g} mm thick and its corners have no radius: it is milled, not bent"
            )
        flat = unfold(skins, lambda radius, thickness: k_of(radius, thickness).value)
    except NotASheet as error:
        return SheetFound(None, str(error))
    thickness = round(skins.thickness_mm, 6)
    entities = _contours(flat, _names_of_circles(flat, solids[0], named))
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
    sheet = Sheet(
        tuple(entities),
        _CHORD_MM,
        thickness_mm=thickness,
        bends=tuple(bends),
        panels=tuple(flat.panels),
        solid_mm3=skins.faces.volume_mm3,
    )
    return SheetFound(sheet, asides=tuple(_asides(skins)))


def _asides(skins: Skins) -> Iterator[str]:
    for name, found in (("countersink", skins.countersinks), ("counterbore", skins.counterbores)):
        if len(found) == 1:
            yield f"A {name} is part of the solid; the flat shows its through hole."
        elif found:
            yield f"{len(found)} {name}s are part of the solid; the flat shows their through holes."
    floor = in_mm(sum(skins.faces.faces[i].area for i in skins.pockets))
    if len(skins.pockets) == 1:
        yield f"A pocket of {floor} mm² is milled into the solid; the flat does not show it."
    elif skins.pockets:
        many = f"{len(skins.pockets)} pockets, {floor} mm² in all,"
        yield f"{many} are milled into the solid; the flat does not show them."


def _names_of_circles(flat: Unfolded, solid: Any, named: Sequence[NamedCylinder]) -> list[tuple[Circle, str]]:
    """Return the circles of the flat whose face on the solid has a name."""
    if not named or not flat.centres:
        return []
    centres = np.array(flat.centres)
    place = solid.Location()
    if not place.IsIdentity():
        # Names are said in the solid's own axes.
        move = place.Inverted().Transformation()
        matrix = np.array([[move.Value(row, column) for column in range(1, 5)] for row in range(1, 4)])
        centres = centres @ matrix[:, :3].T + matrix[:, 3]
    found = []
    for each in named:
        away = centres - np.array(each.point)
        axis = np.array(each.direction) / max(float(np.linalg.norm(each.direction)), 1e-300)
        off = np.linalg.norm(away - np.outer(away @ axis, axis), axis=1)
        for i in np.flatnonzero(off < _NAMED_MM).tolist():
            x, y, radius = flat.circles[i]
            if abs(radius - each.radius_mm) < _NAMED_MM:
                found.append((Circle((x, y), radius), each.name))
    return found


def _contours(flat: Unfolded, names: Sequence[tuple[Circle, str]]) -> list[Entity]:
    rings = [flat.outline.exterior, *flat.outline.interiors]  # type: ignore[attr-defined]
    circles = np.array(flat.circles, float).reshape(-1, 3)
    entities: list[Entity] = []
    for number, ring in enumerate(rings):
        shapes = shapes_of(np.array(ring.coords)[:-1], circles)
        why = "outline of the unfolded solid" if number == 0 else "cutout of the unfolded solid"
        layer = next((name for circle, name in names if len(shapes) == 1 and _same(shapes[0], circle)), "cut")
        entities.append(_entity(number, "contour", shapes, layer, "cut", why))
    return entities


def _same(shape: Shape, circle: Circle) -> bool:
    """True where a shape is a circle."""
    return isinstance(shape, Circle) and math.dist(shape.centre, circle.centre) < _NAMED_MM


def _entity(number: int, kind: str, shapes: tuple[Shape, ...], layer: str, role: Role, why: str) -> Entity:
    return Entity(number, f"#{number}", kind, layer, shapes, role=role, role_why=why)


def _rounded(point: tuple[float, float]) -> tuple[float, float]:
    return round(float(point[0]), 6), round(float(point[1]), 6)
