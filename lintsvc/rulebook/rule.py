"""The rule decorator and what goes in and out of a rule."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from lintsvc.model.choices import Process
from lintsvc.model.finding import Cost, Level, Settles, Where
from lintsvc.model.limit import Limit
from lintsvc.model.source import Source

Worse = Literal["below", "above", "present"]
#: What a rule is about. `order`: parts together; its function takes a `CheckedOrder` by the name `order`.
Kind = Literal["body", "sheet", "order"]
#: What a rule looks at beyond the plain shape. On a part without any there is nothing to find.
About = Literal["bends", "threads", "countersinks"]
RuleFunction = Callable[..., Iterable["Hit"]]

ID_PATTERN = re.compile(r"^[a-z0-9]+(-[a-z0-9]+)*/[a-z0-9]+(-[a-z0-9]+)*$")


class RuleError(Exception):
    """A rule file is wrong. Says which file, what, and the valid words."""


class CannotCheck(Exception):
    """Raised by a rule that lacks something it needs. The report says "not checked, because …"."""


@dataclass(frozen=True, slots=True)
class ResolvedLimit:
    """A limit as it holds for one part: the number, its unit and its source."""

    name: str
    value: float
    unit: str
    source: Source


Limits = Mapping[str, ResolvedLimit]


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that is wrong.

    `measured` is in the limit's unit, or in `unit` for a rule without limits. `limit` names the
    limit it broke, or is a number when the rule worked it out itself (`limit_source` then says
    from what). `words` fill the message and the remedy. `sure` is 0 to 1. `level` may lower the
    rule's level for this hit.
    """

    measured: float | None = None
    where: Where | None = None
    limit: str | float | None = "limit"
    unit: str = "mm"
    limit_source: Source | None = None
    words: Mapping[str, object] = field(default_factory=dict)
    sure: float = 1.0
    level: Level | None = None
    message: str | None = None
    remedy: str | None = None
    #: For a rule of orders: ids of the parts and things it is about. `where` is in the frame of the first of them.
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rule:
    """A rule with everything known of it. Pages, `explain`, SARIF help and the page's help come from here."""

    id: str
    processes: tuple[Process, ...]
    kinds: tuple[Kind, ...]
    level: Level
    since: str
    message: str
    remedy: str
    limits: tuple[Limit, ...]
    sources: tuple[Source, ...]
    worse: Worse
    cost: Cost
    needs: tuple[Literal["material", "thickness"], ...]
    impossible: bool
    caution: str
    check: RuleFunction
    arguments: tuple[str, ...]
    #: From the docstring: first line; the paragraph after it; `Measured:`; `Ignore when:`.
    title: str
    why: str
    measured_how: str
    ignore_when: str
    #: What the rule looks at; on a part without any it has nothing to find, whatever else is not known.
    about: About | None = None
    #: What `lintsvc mend` does about a finding of this rule; empty where it leaves it alone.
    mend: str = ""
    #: The choice of the check that settles a finding of this rule as well as a change of the file does.
    settles: Settles | None = None
    #: The level is the user's own word: it holds whatever the limit's source.
    level_set: bool = False
    #: Where the rule stands; filled in by the loader.
    pack: str = ""
    path: str = ""


_SECTIONS = ("Measured:", "Ignore when:")


def _read_docstring(text: str, rule_id: str) -> tuple[str, str, str, str]:
    """Split a rule's docstring into title, why, measured, ignore-when."""
    lines = inspect.cleandoc(text).splitlines()
    parts: dict[str, list[str]] = {"": []}
    current = ""
    for line in lines[1:]:
        for section in _SECTIONS:
            if line.startswith(section):
                current = section
                line = line[len(section) :]
                break
        parts.setdefault(current, []).append(line.strip())
    title = lines[0].strip() if lines else ""
    why = " ".join(x for x in parts[""] if x)
    measured = " ".join(x for x in parts.get("Measured:", []) if x)
    ignore = " ".join(x for x in parts.get("Ignore when:", []) if x)
    if not title or not measured or not ignore:
        raise RuleError(
            f"{rule_id}: the docstring needs a first line, a line 'Measured: …' and a line 'Ignore when: …'"
        )
    return title, why, measured, ignore


def rule(
    *,
    id: str,
    process: Process | tuple[Process, ...] | Literal["any"],
    kind: Kind | Literal["any"],
    level: Level,
    since: str,
    message: str,
    remedy: str,
    limits: tuple[Limit, ...] = (),
    sources: tuple[Source, ...] = (),
    worse: Worse = "below",
    cost: Cost = "scrap",
    needs: tuple[Literal["material", "thickness"], ...] = (),
    impossible: bool = False,
    caution: str = "",
    about: About | None = None,
    mend: str = "",
    settles: Settles | None = None,
) -> Callable[[RuleFunction], RuleFunction]:
    """Mark a function as a rule; the function gets a `.rule` attribute.

    `message` and `remedy` may use `{measured}`, `{limit}` (with their units) and the hit's own words.
    `worse` says on which side of the limit a part is faulty. `cost` is what the unnoticed mistake
    costs. `impossible` marks geometry that cannot be made whatever the shop, so that an error needs
    no firm source. `about` names what the rule looks at: a part without any is checked, whether or not
    its material and thickness are known. `mend` says what the safe mend does about it. `settles` names the
    choice of the check that settles it too: reports say by which option, the page asks for it. Raises
    RuleError when the metadata is wrong.
    """

    def wrap(function: RuleFunction) -> RuleFunction:
        if not ID_PATTERN.match(id):
            raise RuleError(f"{id!r}: a rule id is pack/what-is-wrong in lower case")
        title, why, measured, ignore = _read_docstring(function.__doc__ or "", id)
        arguments = tuple(inspect.signature(function).parameters)
        subject = "order" if kind == "order" else "part"
        unknown = set(arguments) - {subject, "limit", "limits"}
        if unknown or not arguments or arguments[0] != subject:
            raise RuleError(f"{id}: a rule takes {subject}, and by name limit or limits; not {sorted(unknown)}")
        all_sources = sources + tuple(x.source for x in limits)
        if not all_sources:
            raise RuleError(f"{id}: a rule needs a source: of its limits, or of the matter itself")
        if level == "error" and not impossible and not all(s.firm for s in all_sources):
            raise RuleError(
                f"{id}: a limit from memory or common practice makes a warning at most, "
                "unless the geometry is impossible (impossible=True)"
            )
        # Attribute on the function: the loader finds rules without a global registry.
        function.rule = Rule(  # type: ignore[attr-defined]
            id=id,
            processes=("powder-bed", "sheet")
            if process == "any"
            else (process,)
            if isinstance(process, str)
            else process,
            kinds=("body", "sheet") if kind == "any" else (kind,),
            level=level,
            since=since,
            message=message,
            remedy=remedy,
            limits=limits,
            sources=all_sources,
            worse=worse,
            cost=cost,
            needs=needs,
            impossible=impossible,
            caution=caution,
            check=function,
            arguments=arguments,
            title=title,
            why=why,
            measured_how=measured,
            ignore_when=ignore,
            about=about,
            mend=mend,
            settles=settles,
        )
        return function

    return wrap


def rule_of(function: Any) -> Rule | None:
    """Return the rule that a function carries, or None."""
    found = getattr(function, "rule", None)
    return found if isinstance(found, Rule) else None
