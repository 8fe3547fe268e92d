"""How far a loaded part gives way and how hard it is strained: a first estimate.

A straight bar held at one end is a beam, a flat rectangle or disc held along its edge a plate, both by formula;
everything else is divided into quadratic tetrahedra. Small moves, one even material, static load. Other materials are
compared by the ratio of their stiffness, which is exact for the same shape; a sheet in other thicknesses is calculated
again, about the same middle surface.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.material import Material
from lintsvc.model.report import StiffnessShown
from lintsvc.order.closed_form import (
    POISSON,
    Estimate,
    Point,
    closed_form,
    force_of,
    plate_or_ask,
    point_of,
    rest_points,
)
from lintsvc.order.file import LoadEntry, RestEntry
from lintsvc.order.frames import Floats
from lintsvc.order.shape import Shape
from lintsvc.order.solid_elements import CannotSolve, Feet, Held, PointForce, solve
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart

ASSUMED = (
    "loads are those named and no others, the part's own weight neither; they are steady and moves small, the material "
    "is even in all directions, sheet is as thick after bending as before; clamps do not give, feet carry upright, "
    "tilt, slide and never lift. By formula, stress is that of the edge itself; by finite elements it is read a wall, "
    "or half an element, beside clamps, feet and points of load, because at such an edge a model's stress grows with "
    "every finer mesh: it is a little less than right at the edge"
)
#: Edges of elements, as a multiple of the usual wall; at least and at most a share of the part's size.
_ELEMENT, _FINEST, _COARSEST = 2.0, 1 / 80, 1 / 6
_OTHERS = {
    "sheet": ("aluminium-5052-h32", "steel-mild", "stainless-304"),
    "powder-bed": ("pa12", "pa11", "pa12-glass"),
}


@dataclass(frozen=True, eq=False)
class Case:
    """What is loaded, by what, and what holds it; `up` is the way feet carry, in the part's frame."""

    shape: Shape
    loads: Sequence[LoadEntry]
    rests: Sequence[RestEntry]
    up: Floats


@dataclass(frozen=True, eq=False)
class Loaded:
    """The estimate of one part. Places are in the part's frame; `rows` compares choices, its own first.

    `why`: the reason where there is none.
    """

    part: str
    deflection_mm: float = 0.0
    deflected_at: Point = (0.0, 0.0, 0.0)
    stress_mpa: float = 0.0
    stressed_at: Point = (0.0, 0.0, 0.0)
    by: str = ""
    yield_mpa: float | None = None
    rows: tuple[StiffnessShown, ...] = field(default=())
    why: str = ""


def loaded(order: CheckedOrder) -> tuple[Loaded, ...]:
    """Return an estimate for every part with loads."""
    found = []
    for id in dict.fromkeys(x.on for x in order.order.load):
        loads = [x for x in order.order.load if x.on == id]
        rests = [x for x in order.order.rest if x.of == id]
        part = order.part(id)
        try:
            found.append(_loaded(order, part, loads, rests))
        except (CannotCheck, CannotSolve) as why:
            found.append(Loaded(id, why=str(why)))
    return tuple(found)


def _loaded(order: CheckedOrder, part: OrderedPart, loads: Sequence[LoadEntry], rests: Sequence[RestEntry]) -> Loaded:
    shape, material = part.shape, part.material
    if material is None or material.youngs_modulus_gpa is None:
        raise CannotCheck(f"{part.id}: how stiff its material is, is not known")
    if not rests:
        raise CannotCheck(f"{part.id}: say where it is held: [[rest]] of kind clamp, or feet")
    stands = order.placing.of(part.id) if any(x.kind == "feet" for x in rests) else None
    up = np.array([0.0, 0.0, 1.0]) if stands is None else stands.place[2, :3]
    case = Case(shape, loads, rests, np.asarray(up))
    young = material.youngs_modulus_gpa.value * 1000
    found = _estimate(order, case, young)
    strength = material.yield_mpa or material.ultimate_mpa
    own = StiffnessShown(
        part.id,
        material.id,
        shape.thickness_mm,
        found.deflection_mm,
        found.stress_mpa,
        None if strength is None else strength.value,
        part.mass_g,
        found.by,
    )
    rows = (own, *_other_materials(own, material, part.process), *_other_thicknesses(order, own, material, case, young))
    return Loaded(
        part.id,
        found.deflection_mm,
        found.deflected_at,
        found.stress_mpa,
        found.stressed_at,
        found.by,
        own.yield_mpa,
        rows,
    )


def _estimate(order: CheckedOrder, case: Case, young_mpa: float) -> Estimate:
    return closed_form(case.shape, case.loads, case.rests, young_mpa) or _elements(order, case, young_mpa)


def in_words(loaded: Loaded) -> str:
    """Return what other materials and thicknesses come to: 'steel-mild 0.4 mm, 3 mm thick 0.6 mm'."""
    found = []
    for row in loaded.rows:
        if row.chosen:
            continue
        same = row.material == loaded.rows[0].material
        name = f"{row.thickness_mm:g} mm thick" if same and row.thickness_mm is not None else row.material
        found.append(f"{name} {row.deflection_mm:.2g} mm at {row.stress_mpa:.3g} MPa")
    return ", ".join(found) or "none"


def _other_materials(own: StiffnessShown, material: Material, process: str | None) -> list[StiffnessShown]:
    """Return the same part in other materials."""
    from lintsvc.handbook.materials import material as row_of

    found = []
    own_young = material.youngs_modulus_gpa
    assert own_young is not None  # the caller looked
    for id in _OTHERS.get(process or "", ()):
        other = row_of(id)
        if id == material.id or other.youngs_modulus_gpa is None:
            continue
        strength = other.yield_mpa or other.ultimate_mpa
        found.append(
            replace(
                own,
                material=id,
                deflection_mm=own.deflection_mm * own_young.value / other.youngs_modulus_gpa.value,
                yield_mpa=None if strength is None else strength.value,
                mass_g=None
                if own.mass_g is None
                else own.mass_g * other.density_kg_m3.value / material.density_kg_m3.value,
                by="the ratio of stiffness",
                chosen=False,
            )
        )
    return found


def _other_thicknesses(
    order: CheckedOrder, own: StiffnessShown, material: Material, case: Case, young_mpa: float
) -> list[StiffnessShown]:
    """Return a sheet in the next thinner and thicker stock; one that cannot be calculated is left out."""
    thickness = case.shape.thickness_mm
    if case.shape.kind != "sheet" or thickness is None:
        return []
    # The next of the same series: who orders metric sheet is not offered inches.
    metric = any(abs(x - thickness) < 0.02 * thickness for x in material.stock_mm)
    stock = tuple(sorted(material.stock_mm)) if metric else material.all_stock_mm
    thinner = [x for x in stock if x < thickness * 0.98][-1:]
    thicker = [x for x in stock if x > thickness * 1.02][:1]
    found = []
    for other_mm in (*thinner, *thicker):
        try:
            other = _estimate(order, replace(case, shape=_as_thick(case.shape, other_mm)), young_mpa)
        except (CannotCheck, CannotSolve):
            continue
        row = replace(
            own, thickness_mm=other_mm, deflection_mm=other.deflection_mm, stress_mpa=other.stress_mpa, by=other.by
        )
        mass = None if own.mass_g is None else own.mass_g * other_mm / thickness
        found.append(replace(row, mass_g=mass, chosen=False))
    return found


def _as_thick(shape: Shape, thickness_mm: float) -> Shape:
    """Return a sheet in another thickness about its middle surface. Its lower corners stand before the upper ones."""
    assert shape.thickness_mm is not None  # the caller looked
    low, high = np.split(shape.vertices, 2)
    middle, ratio = (low + high) / 2, thickness_mm / shape.thickness_mm
    vertices = np.vstack([middle + (low - middle) * ratio, middle + (high - middle) * ratio])
    volume = None if shape.volume_mm3 is None else shape.volume_mm3 * ratio
    return replace(shape, vertices=vertices, thickness_mm=thickness_mm, volume_mm3=volume)


def _elements(order: CheckedOrder, case: Case, young_mpa: float) -> Estimate:
    """Return the estimate by finite elements, kept from run to run. Raises CannotSolve."""
    shape = case.shape
    if shape.volume_mm3 is None:
        raise CannotSolve("the part's mesh is not closed, so it cannot be divided into elements")
    digest = hashlib.sha256(b"elements 2" + np.ascontiguousarray(shape.vertices).tobytes())
    digest.update(np.ascontiguousarray(shape.faces).tobytes())
    said = [x.model_dump() for x in (*case.loads, *case.rests)]
    digest.update(json.dumps([said, young_mpa, case.up.tolist()]).encode())
    key = digest.hexdigest()
    known = order.kept.find(key)
    if known is None:
        known = json.dumps(astuple(_solve(case, young_mpa))).encode()
        order.kept.keep(key, known)
    deflection, at, stress, strained, by = json.loads(known)
    return Estimate(deflection, (at[0], at[1], at[2]), stress, (strained[0], strained[1], strained[2]), by)


def _solve(case: Case, young_mpa: float) -> Estimate:
    from lintsvc.order.solid_mesh import tetrahedra

    shape = case.shape
    low, high = shape.box
    whole = float(np.linalg.norm(high - low))
    wall = shape.thickness_mm or 2 * (shape.volume_mm3 or 0.0) / shape.area_mm2
    size = min(max(_ELEMENT * wall, whole * _FINEST), whole * _COARSEST)
    rests = [(x, rest_points(shape, x)) for x in case.rests]
    for attempt in range(3):
        points, elements = tetrahedra(shape.vertices, shape.faces, size)
        for at, reach in ((at, x.reach) for x, places in rests for at in places):
            if np.linalg.norm(points - at, axis=1).min() > reach + 2 * size:
                raise CannotSolve(f"the rest at {', '.join(f'{v:g}' for v in at)} mm lies beside the part")
        held = _held(case, points)
        feet = [Feet(places, x.reach, case.up) for x, places in rests if x.kind == "feet"]
        forces = [PointForce(x.at, point_of(force_of(x)), max(wall, size / 2), x.over == "face") for x in case.loads]
        try:
            solved = solve(points, elements, young_mpa, POISSON, held, forces, feet)
        except CannotSolve:
            if attempt == 2:
                raise
            size *= 1.6
            continue
        deflection, at_ = solved.largest_deflection
        beside = [points[held(points)], *(x.places_mm for x in feet)]
        beside.append(np.array([x.at for x in case.loads if x.over is None], float).reshape(-1, 3))
        stress, strained = solved.largest_stress(np.vstack(beside), max(wall, 0.5 * size))
        return Estimate(deflection, at_, stress, strained, f"{len(elements)} finite elements")
    raise AssertionError("the last attempt returns or raises")


def _held(case: Case, points: Floats) -> Held:
    """Return what says which places clamps hold: all within reach, and where that has no point, the nearest ones."""
    spheres, edges = [], []
    for rest in (x for x in case.rests if x.kind == "clamp"):
        if rest.along:
            edges.append((plate_or_ask(case.shape, rest.of), rest.reach))
            continue
        for at in np.asarray(rest.points, float):
            away = np.linalg.norm(points - at, axis=1)
            spheres.append((at, rest.reach if away.min() <= rest.reach else float(np.sort(away)[2]) + 1e-9))

    def held(some: Floats) -> NDArray[np.bool_]:
        found = np.zeros(len(some), bool)
        for at, reach in spheres:
            found |= np.linalg.norm(some - at, axis=1) <= reach
        for plate, reach in edges:
            found |= plate.depth(some) <= reach
        return found

    return held
