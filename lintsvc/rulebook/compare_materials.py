"""One part in every material and thickness that the packs know: what passes, what fails and by how much.

Nothing is measured twice: the outlines and the narrow places of a flat, and all measurements of a body, are those of
the first check. Only what depends on the thickness or the material (bending, folding) is worked out for each row. A
solid's flat stays that of the chosen material's bend allowance.

A drawing with many bends in every thickness there is takes a while. Whoever shows the table while it grows asks for it
in pieces; no row is ever left out for want of time.
"""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

from lintsvc.model.choices import Choices
from lintsvc.model.finding import LEVELS, Finding, Level
from lintsvc.model.material import Material
from lintsvc.model.part import NotMeasurable
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, adjust
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.engine import Outcome, applies, run_rules
from lintsvc.rulebook.rule import Rule

#: Where the ratio of stiffness comes from, by process.
STIFFNESS_WHY = {
    "sheet": (
        "E·t³ against the chosen row: the bending stiffness of a flat plate, Kirchhoff plate theory (from memory), "
        "without the difference in Poisson's ratio. A folded part gains less from thickness where its flanges carry."
    ),
    "powder-bed": (
        "E against the chosen row: the same shape bends in proportion to Young's modulus (linear elasticity, "
        "from memory). Printed nylon creeps and softens with heat and moisture; E is the handbook's dry value."
    ),
}


@dataclass(frozen=True, slots=True)
class Row:
    """The part in one material and thickness."""

    material: Material
    #: None for a body.
    thickness_mm: float | None
    chosen: bool
    #: True for a thickness that is commonly stocked; None where no stock is known, or for a body.
    stocked: bool | None
    counts: dict[Level, int]
    #: The finding of the highest rank, None where there is none.
    worst: Finding | None
    #: Share by which the worst finding misses its limit: 0.25 for a quarter too little, or too much.
    past: float | None
    #: What could not be checked: how many rules.
    not_checked: int
    mass_g: float | None
    #: Against the chosen row; None where a modulus is not known.
    stiffness: float | None

    @property
    def passes(self) -> bool:
        """True when nothing is found that is worse than a note."""
        return not (self.counts["error"] or self.counts["warning"])


@dataclass(frozen=True, slots=True)
class MaterialTable:
    """Every row; the chosen one is among them where material and thickness are known."""

    process: str
    rows: tuple[Row, ...]
    stiffness_why: str
    #: Rows of the whole table, of which this may be a piece.
    of: int
    #: Where the next piece starts, None after the last.
    next: int | None = None


def compare_materials(
    checked: Checked,
    rules: Iterable[Rule],
    *,
    adjustments: Adjustments = NO_ADJUSTMENTS,
    start: int = 0,
    most_seconds: float = math.inf,
) -> MaterialTable:
    """Return the table for a checked part. `checked` is what `check_file` gave; its measurements are used again.

    `most_seconds`: after that it is a piece, which `start` goes on from; a piece has at least one row. The first piece
    begins with the chosen row, and then one for each material.
    """
    rules = tuple(rules)
    process = checked.choices.process or "powder-bed"
    ends = time.perf_counter() + most_seconds
    todo = list(_choices(checked))
    if process == "sheet":
        # Where this fails, each row says so by itself.
        with suppress(NotMeasurable):
            checked.flat.search_for_thickness(max((x for _, x in todo if x is not None), default=0.0))
    rows: list[Row] = []
    for material, thickness in todo[start:]:
        if rows and time.perf_counter() > ends:
            break
        rows.append(_row(checked, rules, adjustments, material, thickness))
    done = start + len(rows)
    rows.sort(key=lambda x: (place_of(x.material), x.thickness_mm or 0.0))
    return MaterialTable(process, tuple(rows), STIFFNESS_WHY[process], len(todo), done if done < len(todo) else None)


def place_of(one: Material) -> int:
    """Return a material's place in the handbook."""
    from lintsvc.handbook.materials import materials

    return [x.id for x in materials()].index(one.id)


def _choices(checked: Checked) -> Iterator[tuple[Material, float | None]]:
    """The chosen row first; then each material's thickness nearest to it, and the others by the same measure."""
    from lintsvc.handbook.materials import materials

    process = checked.choices.process
    chosen = (checked.material, checked.thickness_mm)
    fits = [x for x in materials() if process in x.processes]
    if process != "sheet":
        yield from sorted(((x, None) for x in fits), key=lambda x: x[0] != chosen[0])
        return
    solid = checked.part.sheet is not None and checked.part.sheet.thickness_mm is not None
    found: list[tuple[Material, float]] = []
    for material in fits:
        stock = set(material.all_stock_mm)
        if checked.thickness_mm is not None and (solid or not stock or material == chosen[0]):
            stock.add(checked.thickness_mm)
        # A solid has its thickness; another one is another part.
        found += [(material, x) for x in ([checked.thickness_mm] if solid else sorted(stock)) if x is not None]
    at = checked.thickness_mm or 0.0
    found.sort(key=lambda x: ((x[0], x[1]) != chosen, abs(x[1] - at)))
    nearest: dict[str, tuple[Material, float]] = {}
    for each in found:
        nearest.setdefault(each[0].id, each)
    yield from nearest.values()
    yield from (x for x in found if nearest[x[0].id] is not x)


def _row(
    base: Checked, rules: tuple[Rule, ...], adjustments: Adjustments, material: Material, thickness: float | None
) -> Row:
    part = _in(base, material, thickness)
    outcome = _run(part, rules, adjustments)
    counts: dict[Level, int] = {level: sum(x.level == level for x in outcome.findings) for level in LEVELS}
    worst = outcome.findings[0] if outcome.findings else None
    chosen = material == base.material and _same(thickness, base.thickness_mm if thickness is not None else None)
    stock = material.all_stock_mm
    return Row(
        material=material,
        thickness_mm=thickness,
        chosen=chosen,
        stocked=None if thickness is None or not stock else any(_same(thickness, x) for x in stock),
        counts=counts,
        worst=worst,
        past=None if worst is None else past_limit(worst),
        not_checked=len(outcome.not_checked),
        mass_g=_mass_g(part),
        stiffness=_stiffness(base, material, thickness),
    )


def _run(part: Checked, rules: tuple[Rule, ...], adjustments: Adjustments) -> Outcome:
    adjusted = adjust([x for x in rules if applies(x, part)], adjustments, part.choices.process, part.material)
    return run_rules(adjusted.rules, part)


def _in(base: Checked, material: Material, thickness: float | None) -> Checked:
    """Return the part in another material and thickness, with the measurements that depend on neither."""
    choices: Choices = replace(base.choices, material=material.id, gauge=None)
    if thickness is not None:
        choices = replace(choices, thickness_mm=thickness)
    part = Checked(base.part, choices, material)
    if base.choices.process != "sheet":
        part.body = base.body
        return part
    flat = copy.copy(base.flat)
    flat.choices, flat.material = choices, material
    part.flat = flat
    for shared in ("meant", "screws"):
        if shared in base.__dict__:
            setattr(part, shared, base.__dict__[shared])
    return part


def _same(a: float | None, b: float | None) -> bool:
    return a is b if a is None or b is None else abs(a - b) <= 1e-6


def past_limit(finding: Finding) -> float | None:
    """Return by which share of its limit a finding misses it, None where it has no two lengths to compare."""
    if finding.measured is None or finding.limit is None or finding.limit.value <= 0:
        return None
    return abs(finding.measured.value / finding.limit.value - 1.0)


def _mass_g(part: Checked) -> float | None:
    from lintsvc.rulebook.shown import show_part

    return show_part(part).mass_g


def _stiffness(base: Checked, material: Material, thickness: float | None) -> float | None:
    chosen = base.material
    if chosen is None or chosen.youngs_modulus_gpa is None or material.youngs_modulus_gpa is None:
        return None
    ratio = material.youngs_modulus_gpa.value / chosen.youngs_modulus_gpa.value
    if thickness is None:
        return ratio
    return None if base.thickness_mm is None else ratio * (thickness / base.thickness_mm) ** 3
