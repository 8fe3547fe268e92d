"""Run rules over a checked part and turn their hits into ranked findings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from lintsvc.model.finding import LEVELS, Finding, Level, LimitShown, NotChecked, Quantity, Where
from lintsvc.model.finite import finite_quantity, finite_where
from lintsvc.model.material import Material
from lintsvc.model.part import NotMeasurable
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.fingerprint import Fingerprinter
from lintsvc.rulebook.limits import resolve
from lintsvc.rulebook.rank import rank
from lintsvc.rulebook.rule import About, CannotCheck, Hit, Limits, Rule
from lintsvc.rulebook.wording import fill, show


@dataclass(frozen=True, slots=True)
class Outcome:
    """What running the rules gave."""

    findings: tuple[Finding, ...]
    not_checked: tuple[NotChecked, ...]
    checked: tuple[str, ...]


class Subject(Protocol):
    """What rules are run on: a checked part, or a checked order."""

    @property
    def material(self) -> Material | None: ...
    @property
    def thickness_mm(self) -> float | None: ...
    def has(self, what: About) -> bool: ...


class Fingerprints(Protocol):
    """Gives findings their fingerprints."""

    def of(self, rule: str, measured: Quantity | None, where: Where | None, parts: tuple[str, ...] = ()) -> str: ...


def applies(rule: Rule, part: Checked) -> bool:
    """True when the rule is for this part's process and kind."""
    process = part.choices.process
    kinds = {name for name, there in (("body", part.part.body), ("sheet", part.part.sheet)) if there is not None}
    # A sheet part made from a solid has both; its process decides which one is looked at.
    if process == "powder-bed":
        kinds &= {"body"}
    elif process == "sheet" and part.part.kind == "sheet":
        kinds &= {"sheet"}
    return (process is None or process in rule.processes) and bool(kinds & set(rule.kinds))


def run_rules(
    rules: Iterable[Rule],
    part: Checked,
    *,
    on_rule: Callable[[str], None] | None = None,
    on_finding: Callable[[Finding], None] | None = None,
) -> Outcome:
    """Run every rule that applies to a part. A rule that fails loses only itself.

    `on_rule` is called with a rule's id before it runs, `on_finding` with each finding as it comes.
    Findings come back worst first.
    """
    chosen = (x for x in rules if applies(x, part))
    return run_on(chosen, part, Fingerprinter(part), on_rule=on_rule, on_finding=on_finding)


def run_on(
    rules: Iterable[Rule],
    part: Subject,
    fingerprints: Fingerprints,
    *,
    on_rule: Callable[[str], None] | None = None,
    on_finding: Callable[[Finding], None] | None = None,
) -> Outcome:
    """Run rules on what they are for, a part or an order; as `run_rules`."""
    findings: list[Finding] = []
    not_checked: list[NotChecked] = []
    checked: list[str] = []
    for rule in rules:
        if on_rule is not None:
            on_rule(rule.id)
        found: list[Finding] = []
        try:
            if rule.about is None or part.has(rule.about):
                _check_needs(rule, part)
                limits = resolve(rule, part.material, part.thickness_mm)
                for hit in _call(rule, part, limits):
                    # One by one: what came before a failure stays.
                    found.append(_finding(rule, hit, limits, fingerprints))  # noqa: PERF401
        except (CannotCheck, NotMeasurable) as reason:
            not_checked.append(NotChecked(rule.id, str(reason)))
        except Exception as error:  # noqa: BLE001  (the border: a rule's crash loses only that rule)
            not_checked.append(NotChecked(rule.id, f"the rule failed: {type(error).__name__}: {error}", failed=True))
        else:
            checked.append(rule.id)
        # What a rule found before it gave up is true all the same.
        findings += found
        if on_finding is not None:
            for finding in found:
                on_finding(finding)
    # The sort is stable: alike findings of one rule stay as the rule gave them, worst first.
    findings.sort(key=lambda x: (-x.rank, LEVELS.index(x.level), x.rule))
    return Outcome(tuple(findings), tuple(not_checked), tuple(checked))


def _check_needs(rule: Rule, part: Subject) -> None:
    if "material" in rule.needs and part.material is None:
        raise CannotCheck("no material is given")
    if "thickness" in rule.needs and part.thickness_mm is None:
        raise CannotCheck("no thickness is given")


def _call(rule: Rule, part: Subject, limits: Limits) -> Iterable[Hit]:
    given: dict[str, object] = {rule.arguments[0]: part}
    if "limit" in rule.arguments:
        given["limit"] = limits["limit"].value
    if "limits" in rule.arguments:
        given["limits"] = limits
    return rule.check(**given)


def _finding(rule: Rule, hit: Hit, limits: Limits, fingerprints: Fingerprints) -> Finding:
    limit: LimitShown | None = None
    if isinstance(hit.limit, str) and hit.limit in limits:
        held = limits[hit.limit]
        limit = LimitShown(held.value, held.unit, held.source)
    elif isinstance(hit.limit, (int, float)):
        limit = LimitShown(float(hit.limit), hit.unit, hit.limit_source or rule.sources[0])
    measured = None
    if hit.measured is not None:
        measured = finite_quantity(Quantity(float(hit.measured), limit.unit if limit else hit.unit))
    where = finite_where(hit.where)
    level = _level(rule, hit, limit)
    words: dict[str, object] = dict(hit.words)
    words["measured"] = show(measured) if measured else ""
    words["limit"] = show(Quantity(limit.value, limit.unit)) if limit else ""
    return Finding(
        fingerprint=fingerprints.of(rule.id, measured, where, hit.parts),
        rule=rule.id,
        level=level,
        rank=rank(
            level,
            None if measured is None else measured.value,
            None if limit is None else limit.value,
            rule.worse,
            rule.cost,
            hit.sure,
        ),
        message=fill(hit.message or rule.message, words),
        measured=measured,
        limit=limit,
        where=where,
        remedy=fill(hit.remedy or rule.remedy, words),
        caution=rule.caution,
        fix=rule.mend,
        settles=rule.settles,
        sure=hit.sure,
        parts=hit.parts,
    )


def _level(rule: Rule, hit: Hit, limit: LimitShown | None) -> Level:
    """A hit may lower its rule's level; a limit that is not firm never makes an error by itself."""
    level = max(hit.level or rule.level, rule.level, key=LEVELS.index)
    sure_enough = limit is None or limit.source.firm or rule.impossible or rule.level_set
    if level == "error" and not sure_enough:
        return "warning"
    return level
