"""What is taken for bends where neither the file nor the user says it, for the report to show."""

from __future__ import annotations

from dataclasses import replace

from lintsvc.model.choices import Assumed
from lintsvc.model.report import BendShown
from lintsvc.model.sheet import Bend
from lintsvc.rulebook.checked import Checked


def bends_shown(checked: Checked) -> tuple[BendShown, ...]:
    """Return the bends as the report shows them; the handbook's K-factor where the material is known."""
    return tuple(BendShown(x.angle_deg, x.direction, x.radius_mm, _k(checked, x)) for x in checked.flat.bends)


def assumed_of_bends(checked: Checked) -> tuple[Assumed, ...]:
    """Return what was taken for bends that leave it open: K-factors with their source, angles, radii."""
    if checked.part.sheet is None or checked.choices.process != "sheet" or checked.thickness_mm is None:
        return ()
    from lintsvc.handbook.bending import k_factor

    thickness = checked.thickness_mm
    found = []
    without_k = [x for x in checked.flat.bends if x.k_factor is None]
    if without_k and checked.material is not None and checked.material.bendable:
        value = k_factor(checked.material.id, thickness, thickness, family=checked.material.family)
        found.append(Assumed("k_factor", f"{value.value:.3f}", f"for {_bends(without_k)}: {value.source.text}"))
    for what, taken, open_ones in (
        ("bend angle", "90°", [x for x in checked.flat.bends if x.angle_deg is None]),
        ("inside radius", f"{thickness:g} mm", [x for x in checked.flat.bends if x.radius_mm is None]),
    ):
        if open_ones:
            why = f"nothing says it for {_bends(open_ones)}; the usual one is taken where a measurement needs it"
            found.append(Assumed(what, taken, why))
    return tuple(found)


def _bends(bends: list[Bend]) -> str:
    return "1 bend" if len(bends) == 1 else f"{len(bends)} bends"


def _k(checked: Checked, bend: Bend) -> float | None:
    if checked.material is None or not checked.material.bendable or checked.thickness_mm is None:
        return bend.k_factor
    from lintsvc.measure.fold_flat import with_k

    radius = checked.thickness_mm if bend.radius_mm is None else bend.radius_mm
    return with_k(replace(bend, radius_mm=radius), checked.thickness_mm, checked.material).k_factor
