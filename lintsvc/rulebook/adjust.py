"""What a shop or a repository changes of the rules: other limits, other levels, rules switched off.

The same two tables stand in `lintsvc.toml` and in a pack's `pack.toml`, which is how one pack extends others:

    [limits]
    "powder-bed/thin-wall" = "0.9mm"
    "sheet/hole-too-small" = { value = "1.5x", material = "acrylic", source = "test cuts of March" }

    [levels]
    "powder-bed/thick-section" = "off"
    "soundness/*" = { level = "note", process = "sheet" }

`x` is a multiple of the sheet's thickness. `material` (an id or a family) and `process` narrow a change;
what comes later wins. Every change keeps the place it was read from.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from fnmatch import fnmatchcase
from typing import Any, Literal

from lintsvc.model.choices import PROCESSES, Process
from lintsvc.model.choices_words import BadChoice, read_length_mm
from lintsvc.model.finding import LEVELS, Level
from lintsvc.model.limit import Limit
from lintsvc.model.material import Material
from lintsvc.model.source import Source
from lintsvc.rulebook.measured import Measured
from lintsvc.rulebook.rule import Rule, RuleError

Setting = Level | Literal["off"]
#: Names a place in the file for an error: of a key of one of the two tables.
Place = Callable[[str, str], str]

_FACTOR = re.compile(r"^\s*([0-9]*\.?[0-9]+)\s*(?:x|×)(?:\s*thickness)?\s*$")
_NUMBER = re.compile(r"^\s*(-?[0-9]*\.?[0-9]+)\s*(deg|°|%)?\s*$")


@dataclass(frozen=True, slots=True)
class LimitChange:
    """Another value for a limit. `text` as it was written; its unit is held against the rule's own."""

    rule: str
    name: str
    text: str
    source: Source
    material: str | None
    process: Process | None
    place: str


@dataclass(frozen=True, slots=True)
class LevelChange:
    """Another level for a rule, or for all rules that a pattern such as `sheet/*` names; or off."""

    rule: str
    level: Setting
    material: str | None
    process: Process | None
    place: str


@dataclass(frozen=True, slots=True)
class Adjustments:
    """All changes that hold for a part, in the order in which they are made."""

    limits: tuple[LimitChange, ...] = ()
    levels: tuple[LevelChange, ...] = ()
    #: What sizes came out at, for rules that judge what is made.
    measured: tuple[Measured, ...] = ()

    def then(self, later: Adjustments) -> Adjustments:
        """Return these changes and then the later ones."""
        return Adjustments(self.limits + later.limits, self.levels + later.levels, self.measured + later.measured)


NO_ADJUSTMENTS = Adjustments()


@dataclass(frozen=True)
class Adjusted:
    """The rules as changed, and those that are off with the place that says so."""

    rules: tuple[Rule, ...]
    off: Mapping[str, str]
    #: Where a changed level was read, by rule, and a changed limit, by rule and the limit's name.
    levels: Mapping[str, str] = field(default_factory=dict)
    limits: Mapping[tuple[str, str], str] = field(default_factory=dict)


def read_adjustments(data: Mapping[str, Any], place: Place) -> Adjustments:
    """Read the tables `limits` and `levels`. Raises RuleError naming the place and the valid words."""
    limits = tuple(_limits(_table(data, "limits", place), lambda key: place("limits", key)))
    levels = tuple(_levels(_table(data, "levels", place), lambda key: place("levels", key)))
    return Adjustments(limits, levels)


def changes_to_dict(changes: Adjustments) -> dict[str, Any]:
    """Return the changes as JSON types: how they are sent to a service with a check."""
    return asdict(changes)


def changes_from_dict(data: Mapping[str, Any]) -> Adjustments:
    """Return what `changes_to_dict` wrote; what an entry leaves out is filled in. Raises RuleError."""
    from pydantic import TypeAdapter, ValidationError

    narrowed = {"material": None, "process": None, "place": "the changes sent with this check"}
    shop = {"kind": "shop", "text": "the shop's own, sent with this check"}
    limits = [{"name": "limit", "source": shop} | narrowed | x for x in data.get("limits", ())]
    levels = [narrowed | x for x in data.get("levels", ())]
    measured = [narrowed | {"supplier": None} | x for x in data.get("measured", ())]
    made = {**data, "limits": limits, "levels": levels, "measured": measured}
    try:
        return TypeAdapter(Adjustments).validate_python(made)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(x) for x in first["loc"])
        raise RuleError(f"the changes sent with this check are wrong at {place}: {first['msg'].lower()}") from None


def check_adjustments(rules: Sequence[Rule], changes: Adjustments) -> None:
    """Raise RuleError for a change of a rule or limit that is not there, or with a unit that does not fit."""
    known = {x.id: x for x in rules}
    for limit in changes.limits:
        if limit.rule not in known:
            raise RuleError(f"{limit.place}: there is no rule {limit.rule!r}; {_close(limit.rule, known)}")
        _new_row(known[limit.rule], limit)
    for level in changes.levels:
        if not any(fnmatchcase(id, level.rule) for id in known):
            raise RuleError(f"{level.place}: there is no rule {level.rule!r}; {_close(level.rule, known)}")


def adjust(rules: Iterable[Rule], changes: Adjustments, process: Process | None, material: Material | None) -> Adjusted:
    """Return the rules as they hold for a part of this process and material."""
    kept: list[Rule] = []
    off: dict[str, str] = {}
    levels: dict[str, str] = {}
    limits: dict[tuple[str, str], str] = {}
    for rule in rules:
        changed = rule
        for limit in changes.limits:
            if limit.rule == rule.id and _holds(limit, process, material):
                row = _new_row(changed, limit)
                others = tuple(x for x in changed.limits if x.name != limit.name)
                changed = replace(changed, limits=(*others, row))
                limits[rule.id, limit.name] = limit.place
        setting = _setting(rule, changes, process, material)
        if setting is not None and setting.level == "off":
            off[rule.id] = setting.place
            continue
        if setting is not None:
            levels[rule.id] = setting.place
            changed = replace(changed, level=setting.level, level_set=True)  # type: ignore[arg-type]
        kept.append(changed)
    return Adjusted(tuple(kept), off, levels, limits)


def _setting(
    rule: Rule, changes: Adjustments, process: Process | None, material: Material | None
) -> LevelChange | None:
    found = [x for x in changes.levels if fnmatchcase(rule.id, x.rule) and _holds(x, process, material)]
    return found[-1] if found else None


def _holds(change: LimitChange | LevelChange, process: Process | None, material: Material | None) -> bool:
    if change.process is not None and change.process != process:
        return False
    return change.material is None or (material is not None and change.material in (material.id, material.family))


def _new_row(rule: Rule, change: LimitChange) -> Limit:
    """Return the row that replaces all rows of this name. The part's material is known to fit already."""
    rows = [x for x in rule.limits if x.name == change.name]
    if not rows:
        names = ", ".join(dict.fromkeys(x.name for x in rule.limits)) or "none"
        raise RuleError(f"{change.place}: {rule.id} has no limit {change.name!r}; its limits are {names}")
    value, unit = _value(change, rows[0].unit, rule.id)
    return Limit("any", value, unit, change.source, name=change.name)


def _value(change: LimitChange, unit: str, rule: str) -> tuple[float, str]:
    lengths = unit in ("mm", "x thickness")
    if lengths and (factor := _FACTOR.match(change.text)):
        return float(factor[1]), "x thickness"
    if lengths:
        try:
            return read_length_mm(change.text), "mm"
        except BadChoice:
            raise RuleError(
                f"{change.place}: {change.text!r} is no limit for {rule}; write a length such as 0.9mm, "
                "or a multiple of the thickness such as 1.5x"
            ) from None
    found = _NUMBER.match(change.text)
    if found is None or (found[2] and {"deg": "deg", "°": "deg", "%": "%"}[found[2]] != unit):
        raise RuleError(f"{change.place}: {change.text!r} is no limit for {rule}; it is a number in {unit}")
    return float(found[1]), unit


def _table(data: Mapping[str, Any], name: str, place: Place) -> Mapping[str, Any]:
    table = data.get(name, {})
    if not isinstance(table, Mapping):
        raise RuleError(f"{place(name, '')}: {name} is a table: [{name}], then one rule a line")
    return table


def _limits(table: Mapping[str, Any], place: Callable[[str], str]) -> Iterator[LimitChange]:
    for key, entry in table.items():
        rule, _, name = key.partition(":")
        for item in entry if isinstance(entry, list) else [entry]:
            words = _words(item, "value", ("value", "source", "material", "process"), place(key))
            source = Source("shop", words.get("source") or f"the shop's own, {place(key)}")
            yield LimitChange(rule, name or "limit", words["value"], source, *_narrowed(words, place(key)), place(key))


def _levels(table: Mapping[str, Any], place: Callable[[str], str]) -> Iterator[LevelChange]:
    for key, entry in table.items():
        for item in entry if isinstance(entry, list) else [entry]:
            words = _words(item, "level", ("level", "material", "process"), place(key))
            level = words["level"]
            if level not in (*LEVELS, "off"):
                raise RuleError(f"{place(key)}: {level!r} is no level; it may be {', '.join(LEVELS)} or off")
            yield LevelChange(key, level, *_narrowed(words, place(key)), place(key))  # type: ignore[arg-type]


def _words(item: Any, main: str, keys: Sequence[str], place: str) -> dict[str, str]:
    """Return an entry's words; a bare one is the main word."""
    entry = item if isinstance(item, Mapping) else {main: item}
    unknown = [x for x in entry if x not in keys]
    if unknown:
        raise RuleError(f"{place}: there is no key {unknown[0]!r} here; it may be {', '.join(keys)}")
    if main not in entry:
        raise RuleError(f"{place}: the key {main!r} is missing")
    wrong = [x for x in entry.values() if isinstance(x, bool) or not isinstance(x, str | int | float)]
    if wrong:
        raise RuleError(f"{place}: {wrong[0]!r} is neither a text nor a number")
    return {key: str(value) for key, value in entry.items()}


def _narrowed(words: Mapping[str, str], place: str) -> tuple[str | None, Process | None]:
    process = words.get("process")
    for known in PROCESSES:
        if process == known:
            return words.get("material"), known
    if process is not None:
        raise RuleError(f"{place}: {process!r} is no process; it may be {', '.join(PROCESSES)}")
    return words.get("material"), None


def _close(rule: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(rule, list(known), n=3, cutoff=0.5)
    return f"close ones are {', '.join(close)}" if close else "`lintsvc rules` lists them"
