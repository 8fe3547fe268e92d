"""The report as PDF, A4, for a folder or a printer: the words of the text report, with pictures; good in grey too."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from typing import Any
from xml.sax.saxutils import escape

from lintsvc.model.report import PartReport, Report
from lintsvc.reports.colours import LEVEL
from lintsvc.reports.picture import NO_PICTURES, Pictures
from lintsvc.reports.sketch import Sketch, flowable, latin
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
from lintsvc.rulebook.wording import number

_MARGIN_MM = 18.0
#: Pictures are not higher than this, points; those near to a finding not wider.
_WHOLE_HIGH, _CLOSE_HIGH, _CLOSE_WIDE = 300.0, 150.0, 260.0
_CLOSING = (
    "Limits and values are for a first choice and carry their source. "
    "The shop's own limits, local codes and licensed practice go first."
)


def dumps(report: Report, pictures: Mapping[int, Pictures] | None = None) -> bytes:
    """Return the PDF's bytes. `pictures`: by the part's place in the report."""
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.units import mm
    from reportlab.platypus import PageBreak, SimpleDocTemplate

    data = io.BytesIO()
    title = title_of(report)
    margin = _MARGIN_MM * mm
    document = SimpleDocTemplate(
        data,
        pagesize=A4,
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
        title=latin(title),
        author="lintsvc",
        # The same report gives the same bytes: no date, no random identifier.
        invariant=1,
    )
    look = _Look(document.width)
    story = [look.paragraph(title, "title"), look.paragraph(f"{total(report)}.", "quiet")]
    for place, part in enumerate(report.entries):
        if place:
            story.append(PageBreak())
        story += look.part(part, (pictures or {}).get(place, NO_PICTURES))
    story.append(look.paragraph(_CLOSING, "quiet"))
    document.build(story, onFirstPage=_number_page, onLaterPages=_number_page)
    return data.getvalue()


def _number_page(canvas: Any, document: Any) -> None:
    canvas.setFont("Helvetica", 8)
    canvas.drawRightString(document.pagesize[0] - document.rightMargin, document.bottomMargin / 2, str(document.page))


class _Look:
    """Styles, and the flowables of one part."""

    def __init__(self, width: float) -> None:
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle

        self.width = width
        body = ParagraphStyle("body", fontName="Helvetica", fontSize=9, leading=12, splitLongWords=1)
        quiet = ParagraphStyle("quiet", body, textColor=HexColor("#5b6470"))
        self.styles = {
            "body": body,
            "quiet": quiet,
            "title": ParagraphStyle("title", body, fontName="Helvetica-Bold", fontSize=16, leading=20, spaceAfter=4),
            "file": ParagraphStyle("file", body, fontName="Helvetica-Bold", fontSize=12, leading=15, spaceBefore=10),
            "head": ParagraphStyle("head", body, fontName="Helvetica-Bold", spaceBefore=8, spaceAfter=3),
        }

    def paragraph(self, text: str, style: str = "body") -> Any:
        """Return a paragraph of plain text."""
        return self._marked_up(escape(latin(text)), style)

    def _marked_up(self, text: str, style: str) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(text, self.styles[style])

    def part(self, part: PartReport, pictures: Pictures = NO_PICTURES) -> Iterator[Any]:
        """Yield what is printed of one file."""
        yield self.paragraph(clean(part.file), "file")
        if part.unreadable is not None:
            why = part.unreadable
            rows = [("why", why.why), ("where", why.where), ("remedy", why.remedy)]
            yield self._block("UNREADABLE", "error", "", [(name, clean(text)) for name, text in rows if text])
            return
        for line in about(part):
            yield self.paragraph(clean(line), "quiet")
        if part.sha256:
            yield self.paragraph(hash_line(part), "quiet")
        if pictures.whole is not None:
            yield self._picture(pictures.whole, self.width, _WHOLE_HIGH)
        yield self.paragraph(counted(part.findings).capitalize(), "head")
        kind = part.part.kind if part.part else "body"
        for place, finding in enumerate(part.findings, 1):
            aside = " (set aside)" if finding.set_aside else ""
            head = f"{place}  {finding.level.upper()}{aside}  {finding.rule}  rank {number(finding.rank)}"
            rows = list(finding_rows(finding, kind))
            yield self._block(head, finding.level, clean(finding.message), rows, pictures.close.get(place))
        if part.not_checked:
            yield self.paragraph("Not checked", "head")
            for reason, rules in missed_by_reason(part):
                yield self.paragraph(f"{reason}: {', '.join(rules)}")
        yield self.paragraph(f"{plural(len(part.checked), 'rule')} checked.", "quiet")

    def _picture(self, sketch: Sketch, width: float, high: float) -> Any:
        return flowable(sketch, width, high)

    def _block(
        self, head: str, level: str, message: str, rows: list[tuple[str, str]], close: Sketch | None = None
    ) -> Any:
        """A finding: a coloured bar at its left, kept on one page where it fits."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import KeepTogether, Spacer, Table

        colour = LEVEL[level]  # type: ignore[index]
        lines = [[self._marked_up(f'<font color="{colour}"><b>{escape(latin(head))}</b></font>', "body"), ""]]
        if message:
            lines.append([self._marked_up(f"<b>{escape(latin(message))}</b>", "body"), ""])
        spans = [("SPAN", (0, row), (1, row)) for row in range(len(lines))]
        lines += [[self.paragraph(name, "quiet"), self.paragraph(text)] for name, text in rows]
        table = Table(lines, colWidths=[60, self.width - 60], splitInRow=1)
        table.setStyle(
            [
                *spans,
                ("LINEBEFORE", (0, 0), (0, -1), 2.5, HexColor(colour)),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
        picture = [] if close is None else [Spacer(1, 3), self._picture(close, _CLOSE_WIDE, _CLOSE_HIGH)]
        return KeepTogether([table, *picture, Spacer(1, 6)])
