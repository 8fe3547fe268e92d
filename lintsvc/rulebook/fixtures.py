"""Fixtures of a rule: small part files just either side of its limit, and what the rule must say of each.

They lie in `fixtures/<file name of the rule>/` beside it, with a `cases.toml`:

    [[case]]
    file = "bad_2.9.dxf"
    process = "sheet"            # any choice: material, thickness_mm, units …
    finds = [{ at = [20.0, 30.0, 0.0], within = 1.0, measured = 2.9, limit = 3.0 }]
    [[case]]
    file = "good_3.1.dxf"
    finds = []

In `finds`, at, measured, limit and level may be left out; measured is held within 2 % or `measured_within`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import choices_from_dict
from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport
from lintsvc.rulebook.rule import Rule, RuleError

_CHOICES = frozenset(x.name for x in fields(Choices))
_OTHER_KEYS = frozenset({"file", "finds"})
_FINDS_KEYS = frozenset({"at", "within", "measured", "measured_within", "limit", "level"})
#: How near to its limit a fixture must be: a limit moved by this factor turns a good one bad.
NEAR = 1.3


#: Runs one rule on one fixture. Orders are above this layer, so their way of looking is handed in.
Look = Callable[["Rule", "Case"], PartReport]


@dataclass(frozen=True)
class Case:
    """One fixture file and what the rule must find in it: nothing, or one entry a finding."""

    file: Path
    choices: Choices
    finds: tuple[Mapping[str, Any], ...]

    @property
    def good(self) -> bool:
        """True when nothing is to be found."""
        return not self.finds


def folder_of(rule: Rule) -> Path:
    """Return the folder of a rule's fixtures."""
    path = Path(rule.path)
    return path.parent / "fixtures" / path.stem


def cases_of(rule: Rule) -> tuple[Case, ...]:
    """Return a rule's cases, none where it has no cases.toml. Raises RuleError for what is wrong in it."""
    manifest = folder_of(rule) / "cases.toml"
    if not manifest.is_file():
        return ()
    try:
        rows = tomllib.loads(manifest.read_text("utf-8"))["case"]
        return tuple(_case(manifest, number, row) for number, row in enumerate(rows, 1))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RuleError(f"{manifest}: {error}") from None
    except KeyError:
        raise RuleError(f"{manifest}: holds no [[case]]") from None


def _case(manifest: Path, number: int, row: Mapping[str, Any]) -> Case:
    place = f"{manifest}, case {number}"
    unknown = [x for x in row if x not in _CHOICES | _OTHER_KEYS]
    unknown += [y for x in row.get("finds", ()) for y in x if y not in _FINDS_KEYS]
    if unknown:
        known = ", ".join(sorted(_CHOICES | _OTHER_KEYS | _FINDS_KEYS))
        raise RuleError(f"{place}: there is no key {unknown[0]!r}; there are {known}")
    if not isinstance(row.get("file"), str) or "finds" not in row:
        raise RuleError(f"{place}: it needs file, and finds (an empty list for a good part)")
    file = manifest.parent / row["file"]
    if not file.is_file():
        raise RuleError(f"{place}: {file} is missing")
    try:
        choices = choices_from_dict({key: value for key, value in row.items() if key in _CHOICES})
    except (ValueError, TypeError) as error:
        raise RuleError(f"{place}: {error}") from None
    return Case(file, choices, tuple(row["finds"]))


def problems_of_case(rule: Rule, case: Case, look: Look | None = None) -> Iterator[str]:
    """Yield what a rule says otherwise of a part than its case states. `look` for orders: `order.load.report_of`."""
    report = (look or report_of_part)(rule, case)
    if report.unreadable is not None:
        yield f"{case.file.name} cannot be read: {report.unreadable.why}"
        return
    if report.checked != (rule.id,):
        why = "; ".join(x.why for x in report.not_checked) or "it does not apply to this part"
        yield f"{case.file.name} was not checked: {why}"
        return
    left = list(report.findings)
    for want in case.finds:
        match = next((x for x in left if fits(x, want)), None)
        if match is None:
            found = "; ".join(_said(x) for x in left) or "nothing"
            yield f"{case.file.name}: nothing fits {dict(want)}; found is {found}"
        else:
            left.remove(match)
    if len(report.findings) > len(case.finds):
        yield f"{case.file.name}: found beside what is stated: {'; '.join(_said(x) for x in left)}"


def problems_of(rule: Rule, look: Look | None = None) -> Iterator[str]:
    """Yield everything that is wrong with a rule's fixtures: missing, contradicted, too far from the limit."""
    look = look or report_of_part
    try:
        cases = cases_of(rule)
    except RuleError as error:
        yield str(error)
        return
    for word, there in (("good", any(x.good for x in cases)), ("bad", any(not x.good for x in cases))):
        if not there:
            yield f"it has no {word} fixture in {folder_of(rule)}"
    wrong = [x for case in cases for x in problems_of_case(rule, case, look)]
    yield from wrong
    if not wrong and rule.worse != "present":
        yield from _too_far(rule, cases, look)


def _too_far(rule: Rule, cases: tuple[Case, ...], look: Look) -> Iterator[str]:
    """A fixture far from the limit would not notice that the limit moved."""
    stricter = NEAR if rule.worse == "below" else 1 / NEAR
    for good, factor, word in ((True, stricter, "good"), (False, 1 / stricter, "bad")):
        moved = _moved(rule, factor)
        if moved is None:
            return
        these = [x for x in cases if x.good == good]
        # Good ones must turn bad by a stricter limit, bad ones good by a looser one.
        if these and not any(bool(look(moved, x).findings) == good for x in these):
            yield f"no {word} fixture is just at the limit: moved by a factor of {NEAR:g}, it changes nothing"


def _moved(rule: Rule, factor: float) -> Rule | None:
    """Return the rule with its limits moved; None for a rule that works its limit out by itself."""
    if rule.limits:
        limits = (replace(x, value=x.value * factor, at_least_mm=x.at_least_mm * factor) for x in rule.limits)
        return replace(rule, limits=tuple(limits))
    move = getattr(rule.check, "moved", None)
    return None if move is None else replace(rule, check=move(factor))


def uncovered(rule: Rule) -> tuple[str, ...]:
    """Return the materials in a rule's limit table that no fixture is of."""
    from lintsvc.handbook.materials import material

    used: set[str] = set()
    for case in cases_of(rule):
        if case.choices.material is not None:
            used |= {case.choices.material, material(case.choices.material).family}
    rows = dict.fromkeys(x.material for x in rule.limits)
    return tuple(x for x in rows if x != "any" and x not in used)


def report_of_part(rule: Rule, case: Case) -> PartReport:
    """Return what a rule says of a part's file."""
    from lintsvc.rulebook.check import check_file

    return check_file(case.file, case.choices, [rule]).report


def _said(finding: Finding) -> str:
    place = "" if finding.where is None else f" at {tuple(round(x, 3) for x in finding.where.point)}"
    return f"{finding.message}{place}"


def fits(finding: Finding, want: Mapping[str, Any]) -> bool:
    """True when a finding is what a case states."""
    if "at" in want and (finding.where is None or math.dist(finding.where.point, want["at"]) > want.get("within", 1.0)):
        return False
    if "measured" in want:
        tolerance = want.get("measured_within", 0.02 * abs(want["measured"]) + 1e-9)
        if finding.measured is None or abs(finding.measured.value - want["measured"]) > tolerance:
            return False
    if "limit" in want and (finding.limit is None or abs(finding.limit.value - want["limit"]) > 1e-6):
        return False
    return "level" not in want or finding.level == want["level"]
