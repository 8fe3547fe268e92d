"""What the part is, for the report: size, volume, mass, triangles, holes, bends."""

from __future__ import annotations

from dataclasses import replace

from lintsvc.model.report import HoleShown, PartShown, UnitsShown
from lintsvc.rulebook.assumed_bends import bends_shown
from lintsvc.rulebook.checked import Checked


def show_part(checked: Checked) -> PartShown:
    """Return the facts of a part. Measures what it needs."""
    if checked.part.kind == "sheet" and checked.choices.process != "powder-bed":
        return _sheet(checked)
    return _body(checked)


def with_folded_size(shown: PartShown, checked: Checked) -> PartShown:
    """Return the facts with the outside size of a bent flat, where a rule has folded it.

    It is not folded for this: what goes wrong in folding costs a rule, and not the file. A solid's size is known.
    """
    folded = checked.__dict__.get("folded")
    if not shown.bends or folded is None or shown.size_mm[2] != 0:
        return shown
    length, width, height = (round(x, 4) for x in folded.finished_size_mm)
    return replace(shown, folded_mm=(length, width, height))


def _units(checked: Checked) -> UnitsShown:
    units = checked.part.units
    return UnitsShown(units.value, units.stated, units.why, units.other, units.other_size_mm)


def _mass_g(checked: Checked, volume_mm3: float | None) -> float | None:
    if volume_mm3 is None or checked.material is None:
        return None
    # kg/m3 is 1e-6 g/mm3.
    return volume_mm3 * checked.material.density_kg_m3.value * 1e-6


def _body(checked: Checked) -> PartShown:
    body = checked.body
    volume = body.volume_mm3 if body.watertight else None
    return PartShown(
        kind="body",
        units=_units(checked),
        size_mm=checked.part.size_mm,
        volume_mm3=volume,
        area_mm2=body.area_mm2,
        mass_g=_mass_g(checked, volume),
        triangles=body.triangles,
        bodies=body.body_count,
        watertight=body.watertight,
    )


def _sheet(checked: Checked) -> PartShown:
    flat = checked.flat
    thickness = checked.thickness_mm
    volume = flat.sheet.solid_mm3
    if volume is None or thickness != flat.sheet.thickness_mm:
        volume = None if thickness is None else flat.area_mm2 * thickness
    return PartShown(
        kind="sheet",
        units=_units(checked),
        size_mm=checked.part.size_mm,
        volume_mm3=volume,
        area_mm2=flat.area_mm2,
        mass_g=_mass_g(checked, volume),
        thickness_mm=thickness,
        flat_mm=flat.flat_mm,
        contours=len(flat.contours),
        holes=tuple(HoleShown(x.diameter_mm, x.centre_mm) for x in flat.holes),
        bends=bends_shown(checked),
    )
