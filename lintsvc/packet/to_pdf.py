"""Pages as PDF, A4 or Letter. The same pages give the same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from lintsvc.packet.blocks import Block, Drawing, Head, Line, Page, Rows
from lintsvc.reports.colours import LEVEL
from lintsvc.reports.one_to_one import PAPER_MM, Paper
from lintsvc.reports.sketch import flowable, latin
from lintsvc.reports.words import clean

_MARGIN_MM = 16.0
#: Dark enough for a printer without colours.
_QUIET = "#3f464f"
_LINE = "#8b929c"
#: Rows of a table that is not parted between pages.
_SHORT = 8
_SHADE = "#f1f3f6"
#: A picture leaves room for words on its page.
_MOST_PICTURE_MM = 110.0
#: As much do small pictures take, which stand beside each other.
_SMALL = 0.6


def to_pdf(pages: Sequence[Page], paper: Paper = "A4") -> bytes:
    """Return the pages, each beginning on a new sheet; its title stands at the foot with the sheet's number."""
    from reportlab.lib.units import mm
    from reportlab.platypus import ActionFlowable, BaseDocTemplate, Frame, PageBreak, PageTemplate

    out = io.BytesIO()
    wide, high = PAPER_MM[paper]
    size = (wide * mm, high * mm)
    margin = _MARGIN_MM * mm
    foot = [clean(pages[0].title) if pages else ""]

    def number(canvas: Any, document: Any) -> None:
        canvas.setFont("Helvetica", 7.5)
        canvas.drawString(margin, margin / 2, latin(foot[0])[:110])
        canvas.drawRightString(size[0] - margin, margin / 2, str(document.page))

    class Titled(ActionFlowable):  # type: ignore[misc,unused-ignore]
        """Sets what stands at the foot from here on."""

        def __init__(self, title: str) -> None:
            super().__init__()
            self.title = title

        def apply(self, document: Any) -> None:
            foot[0] = self.title

    document = BaseDocTemplate(
        out,
        pagesize=size,
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
        title=latin(foot[0]),
        author="lintsvc",
        # The same pages give the same bytes: no date, no random identifier.
        invariant=1,
    )
    frame = Frame(margin, margin, document.width, document.height, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate(frames=[frame], onPageEnd=number)])
    look = _Look(document.width, _MOST_PICTURE_MM * mm)
    story: list[Any] = []
    for place, page in enumerate(pages):
        if place:
            story.append(PageBreak())
        story.append(Titled(clean(page.title)))
        story += look.page(page)
    document.build(story)
    return out.getvalue()


class _Look:
    """Styles, and the flowables of a block."""

    def __init__(self, width: float, most_picture: float) -> None:
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle

        self.width = width
        self.most_picture = most_picture
        body = ParagraphStyle("body", fontName="Helvetica", fontSize=8.5, leading=11, splitLongWords=1)
        self.styles = {
            "body": body,
            "name": ParagraphStyle("name", body, textColor=HexColor(_QUIET)),
            "quiet": ParagraphStyle("quiet", body, fontSize=7.5, leading=9.5, textColor=HexColor(_QUIET), spaceAfter=2),
            "caption": ParagraphStyle(
                "caption", body, fontSize=7.5, leading=9.5, textColor=HexColor(_QUIET), alignment=1, spaceAfter=4
            ),
            "line": ParagraphStyle("line", body, spaceAfter=2),
            "bold": ParagraphStyle("bold", body, fontName="Helvetica-Bold"),
            1: ParagraphStyle("h1", body, fontName="Helvetica-Bold", fontSize=15, leading=19, spaceAfter=4),
            2: ParagraphStyle(
                "h2",
                body,
                fontName="Helvetica-Bold",
                fontSize=10,
                leading=13,
                spaceBefore=8,
                spaceAfter=3,
                keepWithNext=1,
            ),
        }

    def text(self, text: str, style: str | int = "body") -> Any:
        """Return a paragraph of plain text."""
        from reportlab.platypus import Paragraph

        return Paragraph(escape(latin(clean(text))), self.styles[style])

    def page(self, page: Page) -> Iterator[Any]:
        """Yield what a page is on paper; small pictures that follow each other stand side by side."""
        from itertools import groupby

        for small, blocks in groupby(page.blocks, lambda x: isinstance(x, Drawing) and x.small):
            if small:
                yield self._side_by_side([x for x in blocks if isinstance(x, Drawing)])
            else:
                for block in blocks:
                    yield from self.flowables(block)

    def _side_by_side(self, blocks: Sequence[Drawing]) -> Any:
        from reportlab.platypus import Table

        share = self.width / len(blocks)
        drawn = [flowable(x.sketch, share - 8.0, self.most_picture * _SMALL) for x in blocks]
        return Table([drawn], colWidths=[share] * len(blocks), style=[*_PADDING, ("ALIGN", (0, 0), (-1, -1), "CENTER")])

    def flowables(self, block: Block) -> Iterator[Any]:
        """Yield what a block is on paper."""
        match block:
            case Head(text, level):
                yield self.text(text, level)
            case Line(text, quiet, level):
                yield self._finding(text, LEVEL[level]) if level else self.text(text, "quiet" if quiet else "line")
            case Drawing():
                yield from self._drawing(block)
            case Rows():
                yield from self._table(block)

    def _finding(self, text: str, colour: str) -> Any:
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import Table

        table = Table([[self.text(text)]], colWidths=[self.width], splitInRow=1)
        table.setStyle([("LINEBEFORE", (0, 0), (0, -1), 2.5, HexColor(colour)), *_PADDING])
        return table

    def _drawing(self, block: Drawing) -> Iterator[Any]:
        from reportlab.platypus import KeepTogether

        pieces = [flowable(block.sketch, self.width, self.most_picture)]
        if block.caption:
            pieces.append(self.text(block.caption, "caption"))
        yield KeepTogether(pieces)

    def _table(self, block: Rows) -> Iterator[Any]:
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import KeepTogether, Spacer, Table

        if not block.rows:
            return
        columns = max(len(x) for x in (*block.rows, block.head))
        shares = block.widths or (1.0,) * columns
        total = sum(shares)
        cells = [[self.text(x, "bold") for x in block.head]] if block.head else []
        for row in block.rows:
            first: str | int = "body" if block.head else "name"
            cells.append([self.text(x, "body" if i else first) for i, x in enumerate(row)])
        table = Table(
            cells,
            colWidths=[self.width * x / total for x in shares],
            repeatRows=1 if block.head else 0,
            splitInRow=0 if block.fill_in else 1,
        )
        style: list[Any] = [*_PADDING, ("LINEBELOW", (0, 0), (-1, -1), 0.4, HexColor(_LINE))]
        if block.head:
            style.append(("BACKGROUND", (0, 0), (-1, 0), HexColor(_SHADE)))
        if block.fill_in:
            # Room to write in, above and below whatever stands in the other columns.
            style += [
                ("GRID", (0, 0), (-1, -1), 0.4, HexColor(_LINE)),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("TOPPADDING", (0, 1), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 1), (-1, -1), 5),
            ]
        table.setStyle(style)
        # A short table stays on one page: no row of it alone on the next.
        yield KeepTogether([table]) if len(cells) <= _SHORT else table
        yield Spacer(1, 4)


_PADDING: list[Any] = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ("LEFTPADDING", (0, 0), (-1, -1), 4),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
]
