"""A small drawing that can be written as SVG and into a PDF: lines, circles, words, one picture of pixels.

Lengths are points (1/72 in), x to the right and y upwards, the origin at the lower left. Colours are `#rrggbb`.
"""

from __future__ import annotations

import base64
import io
import math
from dataclasses import dataclass, field, replace
from html import escape
from typing import TYPE_CHECKING, Literal

from lintsvc.reports.words import clean, xml_text

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Flowable

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
WHITE = "#ffffff"
INK = "#1d2127"
#: Height of a capital in Helvetica and its like, as a share of the size: centres words on a line.
_CAPITAL = 0.72


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points; closed and filled where a fill is given."""

    points: tuple[Point, ...]
    colour: str = INK
    width: float = 0.6
    dash: tuple[float, ...] = ()
    closed: bool = False
    fill: str = ""


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle, not filled unless a fill is given."""

    centre: Point
    radius: float
    colour: str = INK
    width: float = 0.6
    dash: tuple[float, ...] = ()
    fill: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; `angle_deg` turns it about its anchor. `halo`: white around it, to be read over lines."""

    at: Point
    text: str
    size: float = 8.0
    colour: str = INK
    anchor: Anchor = "middle"
    angle_deg: float = 0.0
    bold: bool = False
    halo: bool = True


@dataclass(frozen=True, slots=True)
class Pixels:
    """A PNG in a rectangle, its lower left corner at `at`."""

    at: Point
    width: float
    height: float
    png: bytes = field(repr=False)


Item = Stroke | Ring | Words | Pixels


@dataclass(frozen=True, slots=True)
class Sketch:
    """A drawing of a size, with words for those who cannot see it."""

    width: float
    height: float
    items: tuple[Item, ...]
    title: str = ""
    #: What reaches over the edge is cut off there, as an SVG in a page does by itself.
    clipped: bool = False


def dimension(start: Point, end: Point, text: str, *, away: float = 14.0, size: float = 8.0) -> list[Item]:
    """Return a dimension line for start to end, moved `away` to its left, with arrowheads and its text in the middle.

    >>> [type(x).__name__ for x in dimension((0, 0), (50, 0), "50 mm")]
    ['Stroke', 'Stroke', 'Stroke', 'Stroke', 'Stroke', 'Words']
    """
    length = math.dist(start, end)
    if length < 1e-6:
        return []
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    side = math.copysign(1.0, away)
    across = (-along[1] * side, along[0] * side)

    def by(point: Point, outward: float, forward: float = 0.0) -> Point:
        return (
            point[0] + across[0] * outward + along[0] * forward,
            point[1] + across[1] * outward + along[1] * forward,
        )

    reach = abs(away)
    items: list[Item] = [Stroke((by(x, 3.0), by(x, reach + 3.0)), width=0.35) for x in (start, end)]
    items.append(Stroke((by(start, reach), by(end, reach)), width=0.35))
    for point, way in ((start, 1.0), (end, -1.0)):
        tip = by(point, reach)
        head = (tip, by(point, reach + 1.3, 5.0 * way), by(point, reach - 1.3, 5.0 * way))
        items.append(Stroke(head, width=0.2, closed=True, fill=INK))
    angle = math.degrees(math.atan2(along[1], along[0]))
    # Read from below or from the right.
    upright = angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    wide = 0.56 * size * len(text)
    # Words that do not fit between the arrowheads stand beyond the end, in line.
    at = by(middle, reach) if length > wide + 14.0 else by(end, reach, wide / 2 + 5.0)
    items.append(Words(at, text, size=size, angle_deg=upright))
    return items


def moved(item: Item, dx: float, dy: float) -> Item:
    """Return an item moved to the right and up."""
    match item:
        case Stroke(points):
            return replace(item, points=tuple((x + dx, y + dy) for x, y in points))
        case Ring((x, y)):
            return replace(item, centre=(x + dx, y + dy))
        case _:
            return replace(item, at=(item.at[0] + dx, item.at[1] + dy))


def to_svg(sketch: Sketch) -> str:
    """Return the drawing as SVG 1.1, without script or style sheet."""
    w, h = _n(sketch.width), _n(sketch.height)
    label = escape(xml_text(clean(sketch.title)))
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" width="{w}pt" height="{h}pt" role="img" '
        f'aria-label="{label}" font-family="Helvetica, Arial, sans-serif">',
    ]
    lines += [_svg(item, sketch.height) for item in sketch.items]
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _svg(item: Item, height: float) -> str:
    match item:
        case Stroke(points):
            data = "M" + "L".join(f"{_n(x)} {_n(height - y)}" for x, y in points) + ("Z" if item.closed else "")
            return f'<path d="{data}" {_look(item)} stroke-linejoin="round"/>'
        case Ring((x, y), radius):
            return f'<circle cx="{_n(x)}" cy="{_n(height - y)}" r="{_n(radius)}" {_look(item)}/>'
        case Pixels((x, y)):
            data = base64.b64encode(item.png).decode("ascii")
            place = f'x="{_n(x)}" y="{_n(height - y - item.height)}"'
            size = f'width="{_n(item.width)}" height="{_n(item.height)}"'
            return f'<image {place} {size} href="data:image/png;base64,{data}"/>'
        case Words((x, y)):
            turned = f' transform="rotate({_n(-item.angle_deg)} {_n(x)} {_n(height - y)})"' if item.angle_deg else ""
            halo = f' stroke="{WHITE}" stroke-width="3" paint-order="stroke"' if item.halo else ""
            bold = ' font-weight="bold"' if item.bold else ""
            return (
                f'<text x="{_n(x)}" y="{_n(height - y)}" dy="{_n(item.size * _CAPITAL / 2)}" '
                f'font-size="{_n(item.size)}" fill="{item.colour}" text-anchor="{item.anchor}"{bold}{halo}{turned}>'
                f"{escape(xml_text(clean(item.text)))}</text>"
            )


def _look(item: Stroke | Ring) -> str:
    dash = f' stroke-dasharray="{" ".join(_n(x) for x in item.dash)}"' if item.dash else ""
    return f'fill="{item.fill or "none"}" stroke="{item.colour}" stroke-width="{_n(item.width)}"{dash}'


def _n(value: float) -> str:
    text = f"{value + 0.0:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def draw_on(canvas: Canvas, sketch: Sketch) -> None:
    """Draw on a PDF canvas, the sketch's lower left corner at the canvas's origin."""
    canvas.saveState()
    if sketch.clipped:
        edge = canvas.beginPath()
        edge.rect(0, 0, sketch.width, sketch.height)
        canvas.clipPath(edge, stroke=0, fill=0)
    for item in sketch.items:
        canvas.saveState()
        _draw(canvas, item)
        canvas.restoreState()
    canvas.restoreState()


def _draw(canvas: Canvas, item: Item) -> None:
    from reportlab.lib.utils import ImageReader

    match item:
        case Stroke(points):
            _pen(canvas, item)
            path = canvas.beginPath()
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            if item.closed:
                path.close()
            canvas.drawPath(path, stroke=1, fill=1 if item.fill else 0)
        case Ring((x, y), radius):
            _pen(canvas, item)
            canvas.circle(x, y, radius, stroke=1, fill=1 if item.fill else 0)
        case Pixels((x, y)):
            canvas.drawImage(ImageReader(io.BytesIO(item.png)), x, y, item.width, item.height, mask="auto")
        case Words():
            _write(canvas, item)


def _pen(canvas: Canvas, item: Stroke | Ring) -> None:
    from reportlab.lib.colors import HexColor

    canvas.setStrokeColor(HexColor(item.colour))
    canvas.setLineWidth(item.width)
    canvas.setLineJoin(1)
    if item.dash:
        canvas.setDash(list(item.dash))
    if item.fill:
        canvas.setFillColor(HexColor(item.fill))


def _write(canvas: Canvas, item: Words) -> None:
    from reportlab.lib.colors import HexColor
    from reportlab.pdfbase.pdfmetrics import stringWidth

    font = "Helvetica-Bold" if item.bold else "Helvetica"
    text = latin(clean(item.text))
    wide = stringWidth(text, font, item.size)
    start = {"start": 0.0, "middle": -wide / 2, "end": -wide}[item.anchor]
    canvas.translate(*item.at)
    canvas.rotate(item.angle_deg)
    down = -item.size * _CAPITAL / 2
    if item.halo:
        canvas.setFillColor(HexColor(WHITE))
        canvas.rect(start - 1.5, down - 1.5, wide + 3.0, item.size * _CAPITAL + 3.0, stroke=0, fill=1)
    canvas.setFillColor(HexColor(item.colour))
    canvas.setFont(font, item.size)
    canvas.drawString(start, down, text)


def flowable(sketch: Sketch, width: float, most_height: float = 1e9) -> Flowable:
    """Return the drawing for a page of flowing text, scaled down to `width` points where it is wider."""
    from reportlab.platypus import Flowable

    scale = min(1.0, width / sketch.width, most_height / sketch.height)

    class Placed(Flowable):  # type: ignore[misc,unused-ignore]
        """The drawing, centred in the width it is given."""

        def __init__(self) -> None:
            super().__init__()
            self.width, self.height = sketch.width * scale, sketch.height * scale
            self.hAlign = "CENTER"

        def draw(self) -> None:
            self.canv.scale(scale, scale)
            draw_on(self.canv, sketch)

    return Placed()


def latin(text: str) -> str:
    """Return `text` in the signs that a PDF's standard fonts have (WinAnsi); others as escapes."""
    return text.encode("cp1252", "backslashreplace").decode("cp1252")
