"""Which row of a rule's limit table holds for a part."""

from __future__ import annotations

from dataclasses import replace

from lintsvc.model.limit import Limit
from lintsvc.model.material import Material
from lintsvc.rulebook.rule import CannotCheck, Limits, ResolvedLimit, Rule


def _closeness(limit: Limit, material: Material | None, thickness_mm: float | None) -> int | None:
    """Return how closely a row fits (higher is closer), or None when it does not hold."""
    if limit.thickness_mm is not None:
        if thickness_mm is None:
            return None
        low, high = limit.thickness_mm
        if not low - 1e-9 <= thickness_mm <= high + 1e-9:
            return None
    narrowed = 1 if limit.thickness_mm is not None else 0
    if limit.material == "any":
        return narrowed
    if material is None:
        return None
    if limit.material == material.id:
        return 4 + narrowed
    if limit.material == material.family:
        return 2 + narrowed
    return None


def resolve(rule: Rule, material: Material | None, thickness_mm: float | None) -> Limits:
    """Return the limits of `rule` that hold, by name.

    Raises CannotCheck where a row is missing or a thickness is needed and not known.
    """
    resolved: dict[str, ResolvedLimit] = {}
    for name in dict.fromkeys(x.name for x in rule.limits):
        rows = [x for x in rule.limits if x.name == name]
        fits = [(c, x) for x in rows if (c := _closeness(x, material, thickness_mm)) is not None]
        if not fits:
            raise CannotCheck(_why_no_row(rows, material, thickness_mm))
        row = max(fits, key=lambda fit: fit[0])[1]
        try:
            value = row.of(thickness_mm)
        except ValueError as error:
            raise CannotCheck(str(error)) from None
        resolved[name] = ResolvedLimit(name, value, row.resolved_unit, row.source)
    return resolved


def _why_no_row(rows: list[Limit], material: Material | None, thickness_mm: float | None) -> str:
    if material is None and any(x.material != "any" for x in rows):
        return "no material is given, and the limit depends on it"
    if thickness_mm is None and any(
        _closeness(replace(x, thickness_mm=None), material, None) is not None for x in rows
    ):
        return "no thickness is given, and the limit depends on it"
    named = material.name if material else "this part"
    return f"no limit is known for {named}" + ("" if thickness_mm is None else f" at {thickness_mm:g} mm")
