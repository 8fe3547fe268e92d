"""Running a limit rule: asking its condition for everything that the part has of its feature."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from lintsvc.model.source import Source
from lintsvc.rulebook.limit_rules.expression import Comparison, Node, Scope
from lintsvc.rulebook.limit_rules.features import SINGLES, Attribute, Feature
from lintsvc.rulebook.limit_rules.kinds import LENGTH, TEXT, TRUTH
from lintsvc.rulebook.rule import CannotCheck, Hit
from lintsvc.rulebook.wording import number, show_unit

if TYPE_CHECKING:
    from lintsvc.model.finding import Where
    from lintsvc.rulebook.checked import Checked

#: A length that misses its limit by less is at the limit: rounding of coordinates in a file.
EXACT_MM = 1e-4


@lru_cache(maxsize=1)
def _singles() -> dict[str, Attribute]:
    return {f"{x.name}.{key}": attribute for x in SINGLES for key, attribute in x.attributes.items()}


@dataclass(frozen=True)
class Condition:
    """A condition, taken apart: the feature it is about, the comparison that is reported, and what narrows it."""

    feature: Feature | None
    compared: Comparison
    #: Conjuncts about the part alone: asked once, before anything is looked for.
    before: tuple[Node, ...]
    #: Conjuncts about the single feature.
    narrowed: tuple[Node, ...]


def speaks_of(node: Node, thing: str) -> bool:
    return any(x.partition(".")[0] == thing for x in node.names)


def needs_of(condition: Condition) -> tuple[Any, ...]:
    used = {x for node in (condition.compared.measured, condition.compared.limit) for x in node.names}
    used |= {x for node in (*condition.before, *condition.narrowed) for x in node.names}
    needs = set(condition.feature.needs if condition.feature else ())
    needs |= {"material"} if any(x.startswith("material.") for x in used) else set()
    needs |= {"thickness"} if "sheet.thickness" in used else set()
    return tuple(sorted(needs))


def hits(part: Checked, condition: Condition, source: Source, factor: float = 1.0) -> Iterator[Hit]:
    """Yield a hit for everything that the condition holds for, alike things of a flat together.

    `factor` moves the limit: for trying out whether a fixture lies just at it.
    """
    of_part = part_scope(part)
    if not all(_value(x, of_part) for x in condition.before):
        return
    compared, feature = condition.compared, condition.feature
    if feature is None:
        measured, limit = _value(compared.measured, of_part), factor * _value(compared.limit, of_part)
        if _past(compared, measured, limit):
            whole = part.flat.where_of_all if part.part.kind == "sheet" else part.body.everywhere()
            yield Hit(measured, whole, limit=limit, unit=compared.measured.kind.unit, limit_source=source)
        return
    found = list(_faulty(part, condition, feature, factor, of_part))
    if feature.kind == "body" or not found:
        yield from (_hit(part, feature, compared, source, x, feature.where(part, x.item), 1) for x in found)
        return
    # Forty equal holes are one finding.
    groups = part.flat.alike(
        found,
        lambda x: x.measured,
        place=lambda x: feature.where(part, x.item),
        kind=lambda x: round(x.limit, 6),
        worst_high=compared.sign in (">", ">="),
    )
    for group in groups:
        worst = next(x for x in group.members if x.measured == group.value)
        yield _hit(part, feature, compared, source, worst, group.where, group.count)


def _faulty(part: Checked, condition: Condition, feature: Feature, factor: float, of_part: Scope) -> Iterator[_Found]:
    compared = condition.compared
    # Mostly the limit is the same for all of them, and is asked once.
    same = None if speaks_of(compared.limit, feature.name) else factor * _value(compared.limit, of_part)
    if same is not None and _none_past(part, feature, compared, same):
        return
    getters = {f"{feature.name}.{key}": x.get for key, x in feature.attributes.items()}
    item: Any = None

    def scope(name: str) -> Any:
        getter = getters.get(name)
        if getter is None:
            return of_part(name)
        value = getter(item)
        if value is None:
            raise CannotCheck(f"{name} is not known")
        return value

    for item in feature.find(part, same or 0.0) if feature.within else _items(part, feature):
        measured = _value(compared.measured, scope)
        limit = factor * _value(compared.limit, scope) if same is None else same
        if _past(compared, measured, limit) and all(_value(x, scope) for x in condition.narrowed):
            yield _Found(measured, limit, item)


def _items(part: Checked, feature: Feature) -> list[Any]:
    """Return the part's features of a kind that does not depend on a limit; found once for all rules."""
    known: dict[str, list[Any]] = part.__dict__.setdefault("_items_of_limit_rules", {})
    if feature.name not in known:
        known[feature.name] = list(feature.find(part, 0.0))
    return known[feature.name]


def _none_past(part: Checked, feature: Feature, compared: Comparison, limit: float) -> bool:
    """True when even the worst value of a feature is not past the limit: most rules find nothing most of the time."""
    attribute = feature.attributes.get(compared.measured.text.removeprefix(f"{feature.name}."))
    if feature.within or attribute is None:
        return False
    ranges: dict[str, tuple[float, float] | None] = part.__dict__.setdefault("_ranges_of_limit_rules", {})
    name = compared.measured.text
    if name not in ranges:
        values = [attribute.get(x) for x in _items(part, feature)]
        # A value that is not known must be met: it makes the rule "not checked".
        ranges[name] = (min(values), max(values)) if values and None not in values else None
    found = ranges[name]
    return found is not None and not _past(compared, found[0 if compared.sign in ("<", "<=") else 1], limit)


class _Found(NamedTuple):
    measured: float
    limit: float
    item: Any


def _hit(
    part: Checked, feature: Feature, compared: Comparison, source: Source, found: _Found, where: Where, count: int
) -> Hit:
    words = {key: _shown(x.get(found.item), x) for key, x in feature.attributes.items()}
    return Hit(
        found.measured,
        where,
        limit=found.limit,
        unit=compared.measured.kind.unit,
        limit_source=source,
        words=words | {"count": count},
        sure=feature.sure(found.item),
    )


def _shown(value: Any, attribute: Attribute) -> object:
    if value is None:
        return "not known"
    if attribute.kind in (TEXT, TRUTH):
        return str(value)
    return number(float(value)) + show_unit(attribute.kind.unit)


def _past(compared: Comparison, measured: float, limit: float) -> bool:
    slack = EXACT_MM if compared.measured.kind == LENGTH else 0.0
    match compared.sign:
        case "<":
            return measured < limit - slack
        case "<=":
            return measured <= limit + slack
        case ">":
            return measured > limit + slack
        case _:
            return measured >= limit - slack


def _value(node: Node, scope: Scope) -> Any:
    try:
        return node.run(scope)
    except ZeroDivisionError:
        raise CannotCheck(f"{node.text} divides by zero") from None
    except ValueError as error:
        # A look-up that the handbook does not have an answer for.
        raise CannotCheck(str(error)) from None


def part_scope(part: Checked) -> Scope:
    """Return what gives the values that a part has one of; each is worked out once for all rules."""
    known: dict[str, Any] = part.__dict__.setdefault("_values_of_limit_rules", {})

    def get(name: str) -> Any:
        if name not in known:
            known[name] = _singles()[name].get(part)
        if known[name] is None:
            raise CannotCheck(f"{name} is not known")
        return known[name]

    return get
