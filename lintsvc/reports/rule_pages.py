"""Pages about rules, made from the rules' own metadata: for `explain`, SARIF help, the web page and the documents.

One page is a title and sections; `markdown` and `plain_text` are two ways to write the same page.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

from lintsvc.model.limit import Limit
from lintsvc.reports.remedy import how_to_say
from lintsvc.reports.tables import markdown_table, markdown_text, text_table
from lintsvc.reports.words import source_text
from lintsvc.rulebook.packs import Pack
from lintsvc.rulebook.rule import Rule
from lintsvc.rulebook.wording import number, show_unit


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with text, or with a table: the first row is the table's head."""

    heading: str
    text: str = ""
    table: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Page:
    """Everything known of one rule, in the order that a reader wants it."""

    rule: str
    title: str
    sections: tuple[Section, ...]


def page(rule: Rule) -> Page:
    """Return the page of a rule. Sections with nothing to say are left out."""
    sections = (
        Section("Why", rule.why),
        Section("Measured", rule.measured_how),
        Section("Limits", table=_limits_table(rule.limits)),
        Section("Sources", "; ".join(dict.fromkeys(source_text(x) for x in rule.sources)) if not rule.limits else ""),
        Section("Remedy", _remedy(rule)),
        Section("Mend", rule.mend),
        Section("Ignore when", rule.ignore_when),
        Section("Caution", rule.caution),
        Section("Applies to", _applies_to(rule)),
    )
    return Page(rule.id, rule.title, tuple(x for x in sections if x.text or x.table))


def markdown(rule: Rule, *, heading: int = 1) -> str:
    """Return the page as Markdown; `heading` is the level of its title."""
    found = page(rule)
    blocks = [f"{'#' * heading} `{found.rule}`", markdown_text(found.title)]
    for section in found.sections:
        blocks.append(f"{'#' * (heading + 1)} {section.heading}")
        blocks.append(markdown_table(section.table) if section.table else markdown_text(section.text))
    return "\n\n".join(blocks) + "\n"


def plain_text(rule: Rule, *, width: int = 100) -> str:
    """Return the page as plain text for a terminal."""
    found = page(rule)
    lines = [found.rule, *textwrap.wrap(found.title, width), ""]
    for section in found.sections:
        lines.append(section.heading)
        if section.table:
            lines += [f"  {x}" for x in text_table(section.table)]
        else:
            lines += textwrap.wrap(section.text, width, initial_indent="  ", subsequent_indent="  ")
        lines.append("")
    return "\n".join(lines)


def rules_table(packs: Iterable[Pack]) -> tuple[tuple[str, ...], ...]:
    """Return a table of all rules, its head first."""
    rows = [("rule", "level", "process", "what is wrong")]
    rows += [(x.id, x.level, ", ".join(x.processes), x.title) for pack in packs for x in pack.rules]
    return tuple(rows)


def rules_json(packs: Iterable[Pack]) -> str:
    """Return all rules with their metadata as JSON text."""
    entries = [
        {
            "id": rule.id,
            "title": rule.title,
            "level": rule.level,
            "processes": list(rule.processes),
            "kinds": list(rule.kinds),
            "needs": list(rule.needs),
            "since": rule.since,
            "why": rule.why,
            "measured": rule.measured_how,
            "remedy": _readable(rule.remedy),
            "ignore_when": rule.ignore_when,
            "caution": rule.caution,
            "limits": [asdict(limit) for limit in rule.limits],
            "sources": [asdict(source) for source in dict.fromkeys(rule.sources)],
        }
        for pack in packs
        for rule in pack.rules
    ]
    return json.dumps(entries, indent=2)


def _limits_table(limits: Sequence[Limit]) -> tuple[tuple[str, ...], ...]:
    if not limits:
        return ()
    several = len({x.name for x in limits}) > 1
    by_thickness = any(x.thickness_mm for x in limits)
    head = [*(["limit"] if several else []), "material", *(["thickness"] if by_thickness else []), "value", "source"]
    rows = [tuple(head)]
    for limit in limits:
        row = [limit.name] if several else []
        row.append(limit.material)
        if by_thickness:
            row.append("any" if limit.thickness_mm is None else "{} to {} mm".format(*map(number, limit.thickness_mm)))
        rows.append((*row, limit_text(limit), source_text(limit.source)))
    return tuple(rows)


def limit_text(limit: Limit) -> str:
    """Return a row's value: '0.8 mm', or '1.2 × thickness, at least 0.5 mm'."""
    if limit.unit != "x thickness":
        return number(limit.value) + show_unit(limit.unit)
    floor = f", at least {number(limit.at_least_mm)} mm" if limit.at_least_mm else ""
    return f"{number(limit.value)} × thickness{floor}"


def _applies_to(rule: Rule) -> str:
    needs = f"; needs {' and '.join(rule.needs)}" if rule.needs else ""
    return (
        f"Process {' and '.join(rule.processes)}; {' and '.join(_KINDS[x] for x in rule.kinds)}{needs}. "
        f"Level {rule.level}; unnoticed, it costs {_COST[rule.cost]}. Since {rule.since}."
    )


_KINDS = {"body": "bodies", "sheet": "flats", "order": "orders"}
_COST = {"scrap": "the part", "rework": "rework", "cosmetic": "looks only"}
_PLACEHOLDER = re.compile(r"\{(\w+)[^}]*\}")


def _remedy(rule: Rule) -> str:
    said = _readable(rule.remedy)
    return f"{said} {how_to_say(rule.settles)}" if rule.settles else said


def _readable(template: str) -> str:
    """Return a message template with its {words} as words: 'at least {limit}' becomes 'at least the limit'."""
    return _PLACEHOLDER.sub(lambda match: "the " + match.group(1).replace("_", " "), template)
