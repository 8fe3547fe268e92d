"""A short summary in Markdown, for a pull request: a line a file, findings behind a fold, pictures by path."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from urllib.parse import quote

from lintsvc.model.finding import LEVELS, Finding
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.remedy import remedy_in_report
from lintsvc.reports.tables import markdown_table, markdown_text, raw_markdown_table
from lintsvc.reports.words import about, against, clean, counted, missed_by_reason, place, plural, total
from lintsvc.rulebook.wording import number

#: More findings of one file than this are counted, not listed: the summary is to be read.
SHOWN_OF_ONE_FILE = 20
#: The sign before a file's line.
_SIGNS = {"error": "❌", "warning": "⚠️", "note": "ℹ️", "good": "✅"}


def dumps(report: Report, *, pictures: Mapping[int, str] | None = None) -> str:
    """Return the summary. `pictures` are paths of picture files by the part's place in the report."""
    rows = [("", "file", "result", "worst")]
    rows += [_row(part) for part in report.entries]
    blocks = [f"### lintsvc: {markdown_text(total(report))}", markdown_table(rows)]
    for number_, part in enumerate(report.entries):
        if part.unreadable is not None or part.findings or part.not_checked:
            blocks.append(_details(part, (pictures or {}).get(number_)))
    return "\n\n".join(blocks) + "\n"


def _row(part: PartReport) -> tuple[str, str, str, str]:
    if part.unreadable is not None:
        return _SIGNS["error"], clean(part.file), "unreadable", clean(part.unreadable.why)
    counting = [x for x in part.findings if not x.set_aside]
    worst = min((x.level for x in counting), key=LEVELS.index, default="good")
    result = counted(part.findings)
    if part.not_checked:
        result += f"; {plural(len(part.not_checked), 'rule')} not checked"
    return _SIGNS[worst], clean(part.file), result, clean(counting[0].message) if counting else ""


def _details(part: PartReport, picture: str | None) -> str:
    head = f"<details><summary>{_in_html(clean(part.file))}</summary>"
    blocks = [head, *(markdown_text(clean(x)) for x in about(part))]
    if picture is not None:
        blocks.append(f"![{markdown_text(clean(part.file))}]({quote(picture)})")
    if part.unreadable is not None:
        why = part.unreadable
        blocks += [markdown_text(clean(x)) for x in (why.why, why.where, why.remedy) if x]
    if part.findings:
        blocks.append(_findings(part))
    if len(part.findings) > SHOWN_OF_ONE_FILE:
        blocks.append(f"… and {number(len(part.findings) - SHOWN_OF_ONE_FILE)} more; the JSON report lists all")
    if part.not_checked and part.unreadable is None:
        reasons = [f"- {markdown_text(why)}: `{'`, `'.join(rules)}`" for why, rules in missed_by_reason(part)]
        blocks += ["Not checked:", "\n".join(reasons)]
    return "\n\n".join([*blocks, "</details>"])


def _in_html(text: str) -> str:
    """Return plain text for an HTML element, safe even where the reader takes the element for text."""
    return "".join(f"&#{ord(x)};" if x in "[]*_`\\!" else x for x in escape(text))


def _findings(part: PartReport) -> str:
    rows = [("", "finding", "where", "measured", "remedy")]
    rows += [_finding(n, x, part) for n, x in enumerate(part.findings[:SHOWN_OF_ONE_FILE], 1)]
    return raw_markdown_table(rows)


def _finding(place_: int, finding: Finding, part: PartReport) -> tuple[str, str, str, str, str]:
    kind = part.part.kind if part.part else "body"
    aside = f" (set aside: {markdown_text(clean(finding.set_aside))})" if finding.set_aside else ""
    what = f"**{finding.level}** `{finding.rule}`{aside}<br>{markdown_text(clean(finding.message))}"
    caution = f"<br>{markdown_text(clean(finding.caution))}" if finding.caution else ""
    where = markdown_text(place(finding.where, kind)) if finding.where else ""
    return str(place_), what, where, against(finding), markdown_text(clean(remedy_in_report(finding))) + caution
