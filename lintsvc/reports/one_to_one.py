"""A 1:1 print of outlines as PDF, tiled over pages: for gaskets and pads cut by hand, and drilling templates.

Every page carries a check bar in both directions, because printers rescale: measure them before cutting.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

Paper = Literal["A4", "Letter"]
#: ISO 216 A4; ANSI/ASME Y14.1 A (8.5 x 11 in). Width and height, mm.
PAPER_MM: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: Most printers leave this much of each edge white (common practice, no source).
MARGIN_MM = 10.0
#: Neighbouring pages share this strip, so that they can be lined up.
OVERLAP_MM = 10.0
#: Room for the check bars at the foot and the left of a page.
BAR_ROOM_MM = 12.0
BAR_MM: dict[Paper, tuple[float, str]] = {"A4": (100.0, "100 mm"), "Letter": (101.6, "4 in")}
#: Offset curves keep within this of the true ones.
_CHORD_MM = 0.005
#: Of the words at the foot, points.
_FOOT_SIZE = 7.0
#: Larger prints are for a plotter.
_MOST_PAGES = 100

Ring = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Tile:
    """One page: its column and row from the lower left, and the part's point at its drawing area's lower left."""

    column: int
    row: int
    x_mm: float
    y_mm: float


def tiles(box_mm: tuple[float, float, float, float], paper: Paper) -> list[Tile]:
    """Return the pages that cover a box (x0, y0, x1, y1). Raises ValueError for a box too large to print."""
    width, height = area_mm(paper)
    x0, y0, x1, y1 = box_mm
    columns = max(1, math.ceil((x1 - x0 - OVERLAP_MM) / (width - OVERLAP_MM)))
    rows = max(1, math.ceil((y1 - y0 - OVERLAP_MM) / (height - OVERLAP_MM)))
    if columns * rows > _MOST_PAGES:
        raise ValueError(f"a 1:1 print of this would take {columns * rows} pages; at most {_MOST_PAGES} are made")
    # The whole is centred on its pages.
    spare_x = (columns * (width - OVERLAP_MM) + OVERLAP_MM - (x1 - x0)) / 2
    spare_y = (rows * (height - OVERLAP_MM) + OVERLAP_MM - (y1 - y0)) / 2
    return [
        Tile(i, j, x0 - spare_x + i * (width - OVERLAP_MM), y0 - spare_y + j * (height - OVERLAP_MM))
        for j in range(rows)
        for i in range(columns)
    ]


def area_mm(paper: Paper) -> tuple[float, float]:
    """Return width and height of a page's drawing area."""
    width, height = PAPER_MM[paper]
    return width - 2 * MARGIN_MM - BAR_ROOM_MM, height - 2 * MARGIN_MM - BAR_ROOM_MM


def offset_rings(outline: BaseGeometry, offset_mm: float) -> list[list[tuple[float, float]]]:
    """Return the rings of an outline moved outwards (or inwards, below zero). Empty when nothing is left."""
    # Round corners: what a knife or a hole punch makes of an offset curve. Segments by the chord's error.
    steps = max(8, math.ceil(math.pi / 4 / math.acos(max(0.0, 1 - _CHORD_MM / max(abs(offset_mm), _CHORD_MM)))))
    shape = outline.buffer(offset_mm, quad_segs=min(steps, 256)) if offset_mm else outline
    return [list(ring.coords) for polygon in _polygons(shape) for ring in (polygon.exterior, *polygon.interiors)]


def _polygons(shape: BaseGeometry) -> Iterator[Polygon]:
    from shapely import Polygon

    for piece in getattr(shape, "geoms", [shape]):
        if isinstance(piece, Polygon):
            if not piece.is_empty:
                yield piece
        elif hasattr(piece, "geoms"):
            yield from _polygons(piece)


def print_rings(
    rings: Sequence[Ring],
    title: str,
    paper: Paper = "A4",
    crosses: Sequence[tuple[float, float]] = (),
    note: str = "",
) -> bytes:
    """Return a PDF of closed rings (mm) at 1:1. `crosses` marks centres, as for a drilling template.

    `note`: what was done to the outline, for the foot of every page; a long title is cut before it is.

    Raises ValueError when there is nothing to draw or the print would be too large.
    """
    from reportlab.lib.units import mm
    from reportlab.pdfgen.canvas import Canvas

    points = [point for ring in rings for point in ring]
    if not points:
        raise ValueError("there is no outline to print")
    xs, ys = [x for x, _ in points], [y for _, y in points]
    pages = tiles((min(xs), min(ys), max(xs), max(ys)), paper)
    out = io.BytesIO()
    width, height = PAPER_MM[paper]
    canvas = Canvas(out, pagesize=(width * mm, height * mm), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    # Asks the reader's print dialogue for no scaling; not every one listens, hence the bars.
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        _draw_page(canvas, rings, crosses, page, pages, paper)
        _draw_foot(canvas, page, pages, title, note, paper)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw_page(
    canvas: Canvas,
    rings: Sequence[Ring],
    crosses: Sequence[tuple[float, float]],
    page: Tile,
    pages: Sequence[Tile],
    paper: Paper,
) -> None:
    from reportlab.lib.units import mm

    wide, high = area_mm(paper)
    left, foot = MARGIN_MM + BAR_ROOM_MM, MARGIN_MM + BAR_ROOM_MM
    columns, rows = max(x.column for x in pages) + 1, max(x.row for x in pages) + 1

    def at(x: float, y: float) -> tuple[float, float]:
        return (x - page.x_mm + left) * mm, (y - page.y_mm + foot) * mm

    canvas.saveState()
    frame = canvas.beginPath()
    frame.rect(left * mm, foot * mm, wide * mm, high * mm)
    canvas.clipPath(frame, stroke=0)
    canvas.setLineWidth(0.2 * mm)
    for ring in rings:
        path = canvas.beginPath()
        path.moveTo(*at(*ring[0]))
        for point in ring[1:]:
            path.lineTo(*at(*point))
        path.close()
        canvas.drawPath(path)
    canvas.setLineWidth(0.1 * mm)
    for x, y in crosses:
        cx, cy = at(x, y)
        canvas.line(cx - 3 * mm, cy, cx + 3 * mm, cy)
        canvas.line(cx, cy - 3 * mm, cx, cy + 3 * mm)
    canvas.restoreState()
    _draw_marks(canvas, page, columns, rows, left, foot, wide, high)
    _draw_bars(canvas, paper, several=columns * rows > 1)


def _draw_foot(canvas: Canvas, page: Tile, pages: Sequence[Tile], title: str, note: str, paper: Paper) -> None:
    """What it is, what was done to it, and which of the pages this one is; right of the bar."""
    from reportlab.lib.units import mm
    from reportlab.pdfbase.pdfmetrics import stringWidth

    left = MARGIN_MM + BAR_ROOM_MM + BAR_MM[paper][0] + 4
    room = (PAPER_MM[paper][0] - MARGIN_MM - left) * mm
    while stringWidth(title, "Helvetica", _FOOT_SIZE) > room:
        title = title.rstrip("\u2026")[:-1] + "\u2026"
    columns, rows = max(x.column for x in pages) + 1, max(x.row for x in pages) + 1
    which = "one page"
    if len(pages) > 1:
        place = f"column {page.column + 1} of {columns}, row {page.row + 1} of {rows} from below"
        which = f"page {pages.index(page) + 1} of {len(pages)}: {place}"
    canvas.setFont("Helvetica", _FOOT_SIZE)
    for line, words in enumerate((title, f"1:1, {note or 'as drawn'}", which)):
        canvas.drawString(left * mm, (MARGIN_MM + 8.5 - 3.5 * line) * mm, words)


def _draw_marks(
    canvas: Canvas, page: Tile, columns: int, rows: int, left: float, foot: float, wide: float, high: float
) -> None:
    """Crosses in the middle of the strips that neighbouring pages share: lay cross on cross."""
    from reportlab.lib.units import mm

    canvas.setLineWidth(0.1 * mm)
    half = OVERLAP_MM / 2
    xs = [left + half] * (page.column > 0) + [left + wide - half] * (page.column < columns - 1)
    ys = [foot + half] * (page.row > 0) + [foot + high - half] * (page.row < rows - 1)
    places = [(x, foot + high * share) for x in xs for share in (0.25, 0.75)]
    places += [(left + wide * share, y) for y in ys for share in (0.25, 0.75)]
    for x, y in places:
        canvas.line((x - 4) * mm, y * mm, (x + 4) * mm, y * mm)
        canvas.line(x * mm, (y - 4) * mm, x * mm, (y + 4) * mm)
        canvas.circle(x * mm, y * mm, 2 * mm)


def _draw_bars(canvas: Canvas, paper: Paper, *, several: bool) -> None:
    from reportlab.lib.units import mm

    bar, name = BAR_MM[paper]
    left = MARGIN_MM + BAR_ROOM_MM
    canvas.setFillGray(0)
    canvas.rect(left * mm, (MARGIN_MM + 6) * mm, bar * mm, 2 * mm, stroke=0, fill=1)
    canvas.rect((MARGIN_MM + 6) * mm, left * mm, 2 * mm, bar * mm, stroke=0, fill=1)
    canvas.setFont("Helvetica", 8)
    words = f"This bar is {name}. Measure both bars before you cut; print at 100 %."
    canvas.drawString(left * mm, (MARGIN_MM + 1.5) * mm, words)
    canvas.saveState()
    canvas.translate((MARGIN_MM + 4) * mm, left * mm)
    canvas.rotate(90)
    lay = "   Lay the marks of pages that adjoin on each other." if several else ""
    canvas.drawString(0, 0, f"This bar is {name} too.{lay}")
    canvas.restoreState()
