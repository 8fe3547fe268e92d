"""The report as text, readable at a glance: what, where, measured against limit, remedy, source."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Callable

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.words import about, clean, counted, finding_rows, missed_by_reason, plural, total
from lintsvc.rulebook.wording import number

#: More of one rule on one file than this are counted, not listed: a broken mesh can have thousands.
SHOWN_OF_ONE_RULE = 10

#: How a piece of text is drawn: `paint(text, style)`, style one of title, error, warning, note, good, quiet.
Paint = Callable[[str, str], str]


def plain(text: str, style: str) -> str:
    """Return `text` as it is: no colours."""
    return text


def dumps(report: Report, *, width: int = 100, paint: Paint = plain) -> str:
    """Return the report as text, lines at most `width` wide where words allow."""
    sheet = _Paper(width, paint)
    for part in report.entries:
        sheet.part(part)
        sheet.line()
    if len(report.entries) != 1:
        sheet.text(total(report), style="title", indent=0)
    return "\n".join(sheet.lines).rstrip("\n") + "\n"


class _Paper:
    """Lines of text as they are written down."""

    def __init__(self, width: int, paint: Paint) -> None:
        self.width = width
        self.paint = paint
        self.lines: list[str] = []

    def line(self, text: str = "") -> None:
        self.lines.append(text)

    def text(self, text: str, *, style: str = "", indent: int = 2, hanging: int | None = None, name: str = "") -> None:
        """Add wrapped text. `name` stands before it in a column; `hanging` indents the lines after the first."""
        if not text:
            return
        first = " " * indent + (f"{name:<10}" if name else "")
        rest = " " * (len(first) if name else indent if hanging is None else hanging)
        # Long words (file names, fingerprints) are left whole: they are copied and searched for.
        wrapped = textwrap.wrap(
            clean(text),
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        )
        # Painted line by line, so that no colour runs into an indent.
        self.lines += [self.paint(x, style) if style else x for x in wrapped]

    def part(self, part: PartReport) -> None:
        self.text(part.file, style="title", indent=0)
        if part.unreadable is not None:
            self.text("UNREADABLE", style="error")
            self.text(part.unreadable.why, indent=4, name="why")
            self.text(part.unreadable.where, indent=4, name="where")
            self.text(part.unreadable.remedy, indent=4, name="remedy")
            return
        self._about(part)
        self.line()
        self._findings(part)
        self._not_checked(part)
        missing = f", {number(len(part.not_checked))} not" if part.not_checked else ""
        worst = next((x.level for x in part.findings if not x.set_aside), "good")
        self.text(f"{counted(part.findings)}; {plural(len(part.checked), 'rule')} checked{missing}", style=worst)

    def _about(self, part: PartReport) -> None:
        for line in about(part):
            self.text(line, style="quiet", hanging=4)

    def _findings(self, part: PartReport) -> None:
        shown: Counter[str] = Counter()
        for finding in part.findings:
            shown[finding.rule] += 1
            if shown[finding.rule] <= SHOWN_OF_ONE_RULE:
                self._finding(finding, part.part.kind if part.part else "body")
                self.line()
        for rule, count in shown.items():
            if count > SHOWN_OF_ONE_RULE:
                self.text(f"… and {number(count - SHOWN_OF_ONE_RULE)} more of {rule}; the JSON report lists all")
                self.line()

    def _finding(self, finding: Finding, kind: str) -> None:
        aside = " (set aside)" if finding.set_aside else ""
        level = self.paint(finding.level.upper() + aside, finding.level)
        rank = self.paint(f"rank {number(finding.rank)}  {finding.fingerprint}", "quiet")
        self.line(f"  {level}  {finding.rule}  {rank}")
        self.text(finding.message, indent=4)
        for name, text in finding_rows(finding, kind):
            self.text(text, indent=4, name=name)

    def _not_checked(self, part: PartReport) -> None:
        if not part.not_checked:
            return
        self.text("NOT CHECKED", style="warning")
        for why, rules in missed_by_reason(part):
            self.text(f"{why}: {', '.join(rules)}", indent=4, hanging=6)
        self.line()
