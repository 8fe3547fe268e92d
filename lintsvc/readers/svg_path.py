"""SVG path data into shapes, one list for each subpath."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from lintsvc.model.sheet import Point2, Shape
from lintsvc.readers.flat_affine import Affine
from lintsvc.readers.flat_curves import STRAIGHT_MM, Flattening, straight
from lintsvc.readers.svg_values import NUMBER

_COMMAND = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])([^MmZzLlHhVvCcSsQqTtAa]*)")
_NUMBER = NUMBER.pattern
# The two flags of an arc may stand without anything between them and the next number.
_ARC = re.compile(
    rf"[\s,]*({_NUMBER})[\s,]*({_NUMBER})[\s,]*({_NUMBER})[\s,]*([01])[\s,]*([01])[\s,]*({_NUMBER})[\s,]*({_NUMBER})"
)
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@dataclass
class Pen:
    """Draws in a user space that `place` maps to mm; collects the shapes of each subpath."""

    place: Affine
    flattening: Flattening
    subpaths: list[tuple[Shape, ...]] = field(default_factory=list)
    _shapes: list[Shape] = field(default_factory=list)
    _run: list[Point2] = field(default_factory=list)
    at: Point2 = (0.0, 0.0)
    start: Point2 = (0.0, 0.0)

    def move(self, to: Point2) -> None:
        """Begin a new subpath."""
        self.lift()
        self.at = self.start = to

    def line(self, to: Point2) -> None:
        """Draw straight."""
        self._begin().append(self.place.at(*to))
        self.at = to

    def curve(self, control: list[Point2]) -> None:
        """Draw a quadratic (two points) or cubic (three points) Bézier curve."""
        place = self.place
        run = self._begin()
        run += self.flattening.bezier([place.at(*self.at), *(place.at(*p) for p in control)])
        self.at = control[-1]

    def arc(self, rx: float, ry: float, turn_deg: float, large: bool, positive: bool, to: Point2) -> None:
        """Draw an elliptical arc; a straight line where the radii say so or nothing else is left of it."""
        found = arc_of(self.at, to, rx, ry, turn_deg, large, positive)
        if found is None:
            if to != self.at:
                self.line(to)
            return
        ellipse, begin, sweep = found
        radius = max(abs(rx), abs(ry)) * self.place.largest_stretch()
        if radius * (1 - math.cos(min(abs(sweep), math.pi) / 2)) < STRAIGHT_MM:
            self.line(to)
            return
        self._end_run()
        self._shapes.append(self.flattening.circular(self.place.of(ellipse), (0.0, 0.0), 1.0, begin, sweep))
        self.at = to

    def close(self) -> None:
        """Draw back to where the subpath began."""
        if self.at != self.start:
            self.line(self.start)
        elif self._run and self._run[-1] != self.place.at(*self.start):
            self._run.append(self.place.at(*self.start))
        self.lift()
        self.at = self.start

    def lift(self) -> None:
        """End the subpath."""
        self._end_run()
        if self._shapes:
            self.subpaths.append(tuple(self._shapes))
            self._shapes = []

    def _begin(self) -> list[Point2]:
        if not self._run:
            self._run = [self.place.at(*self.at)]
        return self._run

    def _end_run(self) -> None:
        shape = straight(self._run)
        if shape is not None:
            self._shapes.append(shape)
        self._run = []


def draw_path(pen: Pen, data: str) -> str:
    """Draw path data; return what is wrong with it, empty for nothing.

    A path is drawn up to its first error, as SVG 2 asks (section 9.5.4).
    """
    previous, control = "", pen.at
    seen = 0
    first = True
    wrong = data[: _first_command(data)].strip()
    for found in () if wrong else _COMMAND.finditer(data):
        letter, text = found.groups()
        upper, relative = letter.upper(), letter.islower()
        values, rest = _values(upper, text)
        takes = _TAKES[upper]
        if first and upper != "M":
            wrong = letter
            break
        first = False
        whole = len(values) - len(values) % takes if takes else 0
        if takes and not whole:
            wrong = rest or f"{letter} without numbers"
            break
        if not takes:
            pen.close()
            previous, control = "Z", pen.at
        for i in range(0, whole, takes or 1):
            v = values[i : i + takes]
            if not all(map(math.isfinite, v)):
                wrong = "a number too large"
                break
            seen += 1
            name = "L" if upper == "M" and i else upper
            control = _draw(pen, name, relative, v, previous, control)
            previous = name
        wrong = wrong or rest or ("a number too many or too few" if takes and whole != len(values) else "")
        if wrong:
            break
    pen.lift()
    return wrong[:40]


def _first_command(data: str) -> int:
    found = _COMMAND.search(data)
    return len(data) if found is None else found.start()


def _values(upper: str, text: str) -> tuple[list[float], str]:
    """Return the numbers after a command, and what among them is no number."""
    if upper == "A":
        values: list[float] = []
        end = 0
        while (found := _ARC.match(text, end)) is not None:
            values += map(float, found.groups())
            end = found.end()
        return values, text[end:].strip(" ,\t\r\n\f")
    rest = NUMBER.sub("", text).strip(" ,\t\r\n\f")
    if rest.replace(",", " ").split():
        # Numbers before the first bad character still count.
        good = re.match(r"[\s,\d.eE+-]*", text)
        text = good.group() if good else ""
    else:
        rest = ""
    return [float(x) for x in NUMBER.findall(text)], rest


def _draw(pen: Pen, name: str, relative: bool, v: list[float], previous: str, control: Point2) -> Point2:
    """Draw one segment; return the control point that a smooth one after it mirrors."""
    x0, y0 = pen.at
    ox, oy = pen.at if relative else (0.0, 0.0)
    if name in "HV":
        to = (v[0] + ox, y0) if name == "H" else (x0, v[0] + oy)
        pen.line(to)
        return to
    if name == "A":
        to = (v[5] + ox, v[6] + oy)
        pen.arc(v[0], v[1], v[2], v[3] == 1, v[4] == 1, to)
        return to
    points = [(v[i] + ox, v[i + 1] + oy) for i in range(0, len(v), 2)]
    to = points[-1]
    if name == "M":
        pen.move(to)
    elif name == "L":
        pen.line(to)
    else:
        mirrored = (2 * x0 - control[0], 2 * y0 - control[1])
        if name == "S":
            points.insert(0, mirrored if previous in ("C", "S") else pen.at)
        elif name == "T":
            points.insert(0, mirrored if previous in ("Q", "T") else pen.at)
        pen.curve(points)
        return points[-2]
    return to


def arc_of(
    start: Point2, end: Point2, rx: float, ry: float, turn_deg: float, large: bool, positive: bool
) -> tuple[Affine, float, float] | None:
    """Return the map of the unit circle to an arc's ellipse, with start angle and signed sweep (radians).

    None for a radius of zero, for equal ends, and where the ellipse is too large to be one. From end points to
    centre as in SVG 2, appendix B.2.4; radii too small are enlarged as in B.2.5.
    """
    rx, ry = abs(rx), abs(ry)
    if rx == 0 or ry == 0 or start == end or not (rx < 1e12 and ry < 1e12):
        return None
    phi = math.radians(turn_deg % 360)
    c, s = math.cos(phi), math.sin(phi)
    dx, dy = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    x, y = (c * dx + s * dy) / rx, (-s * dx + c * dy) / ry
    # In the space where the ellipse is the unit circle: half the chord squared.
    square = x * x + y * y
    if not 0 < square < 1e24:
        return None
    if square > 1:
        grow = math.sqrt(square)
        rx, ry, x, y, square = rx * grow, ry * grow, x / grow, y / grow, 1.0
    offset = math.sqrt(max(0.0, 1 / square - 1))
    if large == positive:
        offset = -offset
    cx, cy = offset * y, -offset * x
    begin = math.atan2(y - cy, x - cx)
    sweep = math.atan2(-y - cy, -x - cx) - begin
    if positive and sweep <= 0:
        sweep += math.tau
    elif not positive and sweep >= 0:
        sweep -= math.tau
    middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    ellipse = Affine(c * rx, s * rx, -s * ry, c * ry)
    ox, oy = ellipse.at(cx, cy)
    return Affine(*ellipse[:4], middle[0] + ox, middle[1] + oy), begin, sweep
