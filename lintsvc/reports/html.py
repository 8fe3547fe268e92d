"""The report as one HTML file: no script, nothing loaded from elsewhere, with a picture of each part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport, Report, UnreadableShown
from lintsvc.reports.colours import LEVEL
from lintsvc.reports.picture import Svgs
from lintsvc.reports.words import (
    about,
    clean,
    counted,
    finding_rows,
    hash_line,
    missed_by_reason,
    plural,
    title_of,
    total,
)
from lintsvc.rulebook.rule import Rule
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from jinja2 import Template


def dumps(
    report: Report,
    *,
    rules: Iterable[Rule] = (),
    pictures: Mapping[int, Svgs] | None = None,
) -> str:
    """Return the HTML. `rules` adds what is known of each rule; `pictures` are by the part's place in the report.

    A picture is put in as it is: it must come from `reports.picture`.
    """
    known = {x.id: x for x in rules}
    shown = pictures or {}
    parts = [_part(part, known, shown.get(place, Svgs())) for place, part in enumerate(report.entries)]
    title = title_of(report)
    return _template().render(report=report, parts=parts, title=title, total=total(report), colours=LEVEL)


@lru_cache(maxsize=1)
def _template() -> Template:
    # Imported here: only this report needs it.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("lintsvc.reports", "templates")
    environment = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return environment.get_template("report.html")


def _part(part: PartReport, rules: Mapping[str, Rule], pictures: Svgs) -> dict[str, Any]:
    from markupsafe import Markup

    findings = [_finding(number, x, part, rules.get(x.rule)) for number, x in enumerate(part.findings, 1)]
    for finding in findings:
        drawn = None if finding["set_aside"] else pictures.close.get(finding["number"])
        finding["close"] = None if drawn is None else Markup(drawn)  # noqa: S704 - as the whole picture
    return {
        "file": clean(part.file),
        "unreadable": _unreadable(part.unreadable) if part.unreadable else None,
        "about": [clean(x) for x in about(part)],
        "hash": hash_line(part) if part.sha256 else "",
        # Our own SVG, escaped where it is made.
        "picture": None if pictures.whole is None else Markup(pictures.whole),  # noqa: S704
        "counted": counted(part.findings).capitalize(),
        "findings": findings,
        "not_checked": missed_by_reason(part),
        "checked": part.checked,
        "rules": plural(len(part.checked), "rule"),
    }


def _unreadable(why: UnreadableShown) -> dict[str, Any]:
    rows = [(name, clean(text)) for name, text in (("where", why.where), ("remedy", why.remedy)) if text]
    return {"why": clean(why.why), "rows": rows}


def _finding(place: int, finding: Finding, part: PartReport, rule: Rule | None) -> dict[str, Any]:
    return {
        "number": place,
        "level": finding.level,
        "rule": finding.rule,
        "rank": number(finding.rank),
        "fingerprint": finding.fingerprint,
        "message": clean(finding.message),
        "set_aside": finding.set_aside,
        "rows": finding_rows(finding, part.part.kind if part.part else "body"),
        "why": rule.why if rule else "",
        "measured_how": rule.measured_how if rule else "",
        "ignore_when": rule.ignore_when if rule else "",
    }
