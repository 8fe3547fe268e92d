"""A flat with its findings as SVG 1.1, true to size in mm: lit entities, a numbered ring around each finding."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from html import escape

from lintsvc.model.finding import Finding
from lintsvc.model.sheet import Arc, Circle, Line, Point2, Shape, Sheet
from lintsvc.reports.colours import LEVEL, ROLE
from lintsvc.reports.flat_drawing import Mark, drawn_box, lines_of, marks, on_circle, sweep_deg
from lintsvc.reports.words import bend_words, xml_text

_STYLE = (
    "path,circle{fill:none;vector-effect:non-scaling-stroke;stroke-linecap:round}"
    + "".join(f".{role}{{stroke:{colour};stroke-width:1}}" for role, colour in ROLE.items())
    + ".bend{stroke-dasharray:6 3}"
    + "".join(
        f".{level}{{stroke:{colour};stroke-width:2.5}}.{level} .ring{{stroke-width:1.5}}"
        f".{level} text{{fill:{colour};stroke:none}}"
        for level, colour in LEVEL.items()
    )
    + "text{font-family:sans-serif;font-weight:bold}.bends{fill:#4d545e;font-weight:normal}"
)
#: Of more findings than these nobody reads the numbers in one picture.
_MOST_SET_APART = 100
#: Of more bends than these the words would lie on each other.
_MOST_NAMED_BENDS = 12


def write_svg(sheet: Sheet, findings: Sequence[Finding]) -> str:
    """Return the drawing. Numbers are those of the ranked list, from 1."""
    ringed = list(marks(sheet, findings))
    x0, y0, x1, y1 = drawn_box(sheet)
    text = 0.035 * max(x1 - x0, y1 - y0, 1.0)
    edge = 1.5 * text
    # Rings may stand over the edge of the part.
    x0 = min([x0, *(m.centre[0] - m.radius_mm for m in ringed)]) - edge
    y0 = min([y0, *(m.centre[1] - m.radius_mm for m in ringed)]) - edge
    x1 = max([x1, *(m.centre[0] + m.radius_mm for m in ringed)]) + edge
    y1 = max([y1, *(m.centre[1] + m.radius_mm for m in ringed)]) + edge
    width, height = x1 - x0, y1 - y0
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="{_n(x0)} {_n(-y1)} {_n(width)} {_n(height)}">',
        f"<style>{_STYLE}</style>",
        '<g id="part">',
    ]
    lines += [f'<path class="{x.role}" d="{_path(x.shapes)}"/>' for x in sheet.entities if x.shapes]
    lines.append('</g><g id="highlights">')
    taken: list[Point2] = []
    for mark in ringed:
        taken.append(_free_place(mark, text, taken))
        lines.append(_mark(mark, sheet, text, taken[-1]))
    lines.append("</g>")
    named = list(_bends(sheet))
    if 0 < len(named) <= _MOST_NAMED_BENDS:
        lines += ['<g id="bends">', *(_bend(line, words, 0.75 * text) for line, words in named), "</g>"]
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _bends(sheet: Sheet) -> Iterator[tuple[Line, str]]:
    """Yield the bend lines with what is known of each, of a solid's flat or as the drawing says."""
    known = {x.entity: (x.direction, x.angle_deg) for x in sheet.bends if x.entity is not None}
    for entity in sheet.entities:
        if entity.role == "bend" and len(entity.shapes) == 1 and isinstance(entity.shapes[0], Line):
            said = known.get(entity.number, (entity.bend_direction, entity.bend_angle_deg))
            yield entity.shapes[0], bend_words(*said)


def _bend(line: Line, words: str, text: float) -> str:
    """Return what a bend is, along its line from one end, away from the marks in its middle."""
    (ax, ay), (bx, by) = sorted((line.start, line.end))
    long = math.hypot(bx - ax, by - ay) or 1.0
    x, y = ax + 0.02 * (bx - ax), ay + 0.02 * (by - ay)
    x, y = x - 0.4 * text * (by - ay) / long, y + 0.4 * text * (bx - ax) / long
    turn = math.degrees(math.atan2(by - ay, bx - ax))
    return (
        f'<text class="bends" x="{_n(x)}" y="{_n(-y)}" font-size="{_n(text)}" '
        f'transform="rotate({_n(-turn)} {_n(x)} {_n(-y)})">{escape(words)}</text>'
    )


def _free_place(mark: Mark, text: float, taken: Sequence[Point2]) -> Point2:
    """Return where a mark's number begins: beside its ring, to the right of numbers that are there already."""
    x, y = mark.centre[0] + 0.72 * mark.radius_mm, mark.centre[1] + 0.78 * mark.radius_mm
    while len(taken) < _MOST_SET_APART and any(abs(x - a) < 1.3 * text and abs(y - b) < 0.9 * text for a, b in taken):
        x += 1.3 * text
    return x, y


def _mark(mark: Mark, sheet: Sheet, text: float, label: Point2) -> str:
    finding = mark.finding
    where = finding.where
    assert where is not None  # `marks` gives only findings that have a place
    numbers = [x for x in where.entities if 0 <= x < len(sheet.entities)]
    paths = [_path(sheet.entities[x].shapes) for x in numbers] + [_path([Line(a, b)]) for a, b in lines_of(finding)]
    lit = "".join(f'<path d="{x}"/>' for x in paths if x)
    x, y = mark.centre
    title = escape(xml_text(f"{mark.number}. {finding.rule}: {finding.message}"))
    return (
        f'<g class="{finding.level}" data-fingerprint="{escape(finding.fingerprint)}"><title>{title}</title>{lit}'
        f'<circle class="ring" cx="{_n(x)}" cy="{_n(-y)}" r="{_n(mark.radius_mm)}"/>'
        f'<text x="{_n(label[0])}" y="{_n(-label[1])}" font-size="{_n(text)}">{mark.number}</text></g>'
    )


def _path(shapes: Sequence[Shape]) -> str:
    """Return path data; y is turned over, because SVG's grows downward."""
    data: list[str] = []
    at: Point2 | None = None
    for shape in shapes:
        points, end = _piece(shape)
        # A shape that goes on where the last one ended needs no new start.
        start = points[0]
        data.append(("" if at == start else f"M{_xy(start)}") + end)
        at = points[-1]
    return "".join(data)


def _piece(shape: Shape) -> tuple[Sequence[Point2], str]:
    match shape:
        case Line(start, end):
            return (start, end), f"L{_xy(end)}"
        case Circle(centre, radius):
            right, left = (centre[0] + radius, centre[1]), (centre[0] - radius, centre[1])
            half = f"A{_n(radius)} {_n(radius)} 0 1 0 "
            return (right, right), f"{half}{_xy(left)}{half}{_xy(right)}"
        case Arc(centre, radius, start_deg):
            sweep = sweep_deg(shape)
            if sweep >= 360.0:
                return _piece(Circle(centre, radius))
            # In two halves: the ends of a nearly closed arc, rounded, would not say where its middle is.
            start, middle, end = (on_circle(centre, radius, start_deg + sweep * x) for x in (0.0, 0.5, 1.0))
            half = f"A{_n(radius)} {_n(radius)} 0 0 0 "
            return (start, end), f"{half}{_xy(middle)}{half}{_xy(end)}"
        case _:
            return shape.points, "".join(f"L{_xy(x)}" for x in shape.points[1:])


def _xy(point: Point2) -> str:
    return f"{_n(point[0])} {_n(-point[1])}"


def _n(value: float) -> str:
    """A number to 0.0001 mm, short, without exponent (which not every reader takes)."""
    text = f"{value + 0.0:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
