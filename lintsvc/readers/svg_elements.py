"""The elements of an SVG into the sheet builder, uses and symbols resolved."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from lintsvc.model.part import Unreadable
from lintsvc.model.sheet import Point2, Shape
from lintsvc.readers.content import clean_name
from lintsvc.readers.flat_affine import Affine
from lintsvc.readers.flat_sheet import MOST_ENTITIES, SheetBuilder, out_of_reach
from lintsvc.readers.svg_page import Page, local_id, viewport_of
from lintsvc.readers.svg_path import Pen, draw_path
from lintsvc.readers.svg_values import NUMBER, StyleSheet, colour_of, transform_of, user_length
from lintsvc.readers.svg_xml import DEEPEST, Node

_HOLDS = frozenset({"svg", "g", "a", "switch", "symbol"})
_DRAWS = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
_LEFT_OUT = {"image": "pictures", "foreignObject": "foreign objects", "video": "films", "iframe": "foreign objects"}
_NUMBERED = re.compile(
    r"(svg|g|path|text|tspan|rect|circle|ellipse|line|poly\w+|use|symbol|layer|group|image)[-_ ]?[\d-]*"
)
_INHERITED = {"stroke": "none", "fill": "black", "visibility": "visible", "stroke-dasharray": "none"}


class Surroundings(NamedTuple):
    """What an element inherits."""

    place: Affine
    width: float
    height: float
    style: dict[str, str]
    layer: str
    hidden: str


@dataclass
class ElementReader:
    """Walks the tree and puts what it draws into a builder."""

    root: Node
    page: Page
    builder: SheetBuilder
    _ids: dict[str, Node] = field(default_factory=dict)
    _counts: dict[int, int] = field(default_factory=dict)
    _sheet: StyleSheet = field(default_factory=StyleSheet)

    def read(self) -> None:
        """Take the whole drawing. Raises Unreadable for uses in a cycle and for too many elements."""
        waiting = [self.root]
        while waiting:
            node = waiting.pop()
            if node.get("id"):
                self._ids.setdefault(node.get("id"), node)
            if node.tag == "style":
                self._sheet.take(node.text)
            waiting.extend(node.children)
        if self._count(self.root, (), 0) > MOST_ENTITIES:
            raise Unreadable(
                f"With its uses resolved the SVG has more than {MOST_ENTITIES:,} elements.",
                remedy="Export the part alone.",
            )
        page = self.page
        start = Surroundings(page.place, page.width, page.height, dict(_INHERITED), "", "")
        self._children(self.root, self._inside(self.root, start))

    def _count(self, node: Node, uses: tuple[int, ...], depth: int) -> int:
        """Return how many elements a node becomes, each counted once however often it is used."""
        key = id(node)
        if key in uses:
            raise Unreadable(
                "A use element leads back to itself.", f"id {clean_name(node.get('id'))!r}", "Remove it, or unlink it."
            )
        known = self._counts.get(key)
        if known is not None:
            return known
        if depth > DEEPEST:
            raise Unreadable(f"The SVG's uses are nested more than {DEEPEST} deep.", remedy="Unlink them.")
        count = 1
        if node.tag == "use":
            target = self._target(node)
            if target is not None:
                count += self._count(target, (*uses, key), depth + 1)
        elif node.tag != "defs":
            inside = (*uses, key)
            count += sum(self._count(x, inside, depth + 1) for x in node.children)
        self._counts[key] = count
        return count

    def _target(self, node: Node) -> Node | None:
        name = local_id(node.get("href"))
        return None if name is None else self._ids.get(name)

    def _inside(self, node: Node, around: Surroundings) -> Surroundings:
        """Return what a node passes on: its transform, style, layer and visibility applied."""
        said = self._sheet.of(node)
        place, hidden = around.place, around.hidden
        step = transform_of(node.get("transform"))
        if step is None:
            self.builder.note("recovered", "{n} transforms are not understood; what they move stays where it is.")
        elif node is not self.root:
            place = place.of(step)
        if said.get("display") == "none":
            hidden = "it is set invisible (display: none)"
        for name, what in (("clip-path", "clipped"), ("mask", "masked")):
            if said.get(name, "none") != "none":
                self.builder.note("ignored", f"{{n}} {what} elements are taken whole.")
        style = around.style
        changed = {k: v for k, v in said.items() if k in _INHERITED and v != "inherit"}
        if changed:
            style = {**style, **changed}
        if _is_nought(said.get("opacity", "1")):
            hidden = "it is set invisible (opacity: 0)"
        layer = around.layer if node is self.root else self._layer(node, around.layer)
        return Surroundings(place, around.width, around.height, style, layer, hidden)

    def _layer(self, node: Node, around: str) -> str:
        """Return what stands for the layer: a name of the element that says what it is for, else its group's."""
        title = next((x.text for x in node.children if x.tag == "title"), "")
        label = node.get("label") or node.get("data-name")
        chosen = _chosen_name(node.get("id"))
        names = [clean_name(x) for x in (label, node.get("class"), title.strip(), chosen) if x]
        speaks = next((x for x in names if self.builder.rules.knows_layer(x)), "")
        if node.tag in ("g", "svg", "symbol"):
            return speaks or clean_name(label or chosen) or around
        return speaks or around or clean_name(label or node.get("class"))

    def _children(self, node: Node, around: Surroundings) -> None:
        for child in node.children:
            self._element(child, around)

    def _element(self, node: Node, around: Surroundings) -> None:
        tag = node.tag
        if tag in _DRAWS:
            self._draw(node, self._inside(node, around))
        elif tag in _HOLDS:
            if tag != "symbol":
                inside = self._inside(node, around)
                if tag == "svg":
                    inside = self._viewport(node, inside, (node.get("width"), node.get("height")))
                self._children(node, inside)
        elif tag == "use":
            self._use(node, self._inside(node, around))
        elif tag == "text":
            self._text(node, self._inside(node, around))
        elif tag in _LEFT_OUT:
            number = self.builder.add_mark(clean_name(node.get("id")), tag.lower(), around.layer, None)
            self.builder.note("ignored", f"{{n}} {_LEFT_OUT[tag]} are left out.", number)

    def _viewport(self, node: Node, around: Surroundings, size: tuple[str, str]) -> Surroundings:
        step, width, height = viewport_of(node, (around.width, around.height), size)
        return around._replace(place=around.place.of(step), width=width, height=height)

    def _use(self, node: Node, around: Surroundings) -> None:
        target = self._target(node)
        if target is None:
            outside = local_id(node.get("href")) is None
            what = "lead out of the file" if outside else "name something that is not in the file"
            self.builder.note("recovered", f"{{n}} uses {what}; what they draw is missing.")
            return
        x, y = user_length(node.get("x"), around.width), user_length(node.get("y"), around.height)
        inside = around._replace(place=around.place.of(Affine(e=x, f=y)))
        if target.tag in ("symbol", "svg"):
            said = self._inside(target, inside)
            size = (node.get("width") or target.get("width"), node.get("height") or target.get("height"))
            self._children(target, self._viewport(target, said, size))
        else:
            self._element(target, inside)

    def _text(self, node: Node, around: Surroundings) -> None:
        words = " ".join(" ".join(_texts(node)).split())
        if not words:
            return
        spot = next((x for x in (node, *node.children) if x.get("x")), node)
        at = around.place.at(_first(spot.get("x"), around.width), _first(spot.get("y"), around.height))
        number = self.builder.add_mark(clean_name(node.get("id")), "text", around.layer, at, text=words)
        self.builder.note("live-text", "{n} texts are text, not outlines; they are not cut.", number, at)

    def _draw(self, node: Node, around: Surroundings) -> None:
        builder = self.builder
        if any(out_of_reach(x) for x in around.place):
            raise Unreadable("A transform in the SVG is not finite.", clean_name(node.get("id")), "Save it again.")
        pen = Pen(around.place, builder.flattening)
        wrong = draw(pen, node, around.width, around.height)
        if wrong:
            builder.note(
                "recovered", f"{{n}} {node.tag} elements are damaged ({clean_name(wrong)}): drawn up to there."
            )
        style = around.style
        stroke, fill = style["stroke"], style["fill"]
        hidden = around.hidden
        if style["visibility"] in ("hidden", "collapse"):
            hidden = "it is set invisible (visibility: hidden)"
        elif stroke == "none" and fill == "none":
            hidden = hidden or "it has neither stroke nor fill"
        layer = around.layer
        rgb = colour_of(fill if stroke == "none" else stroke)
        dashed = "DASHED" if any(c in "123456789" for c in style["stroke-dasharray"]) else ""
        name = clean_name(node.get("id"))
        if not pen.subpaths and not wrong:
            at = around.place.at(*_corner(node, around.width, around.height))
            number = builder.add_mark(name, node.tag, layer, at)
            builder.note("stray", f"{{n}} {node.tag} elements have no size: no contour, left out.", number, at)
        for i, shapes in enumerate(pen.subpaths):
            handle = f"{name}:{i + 1}" if name and len(pen.subpaths) > 1 else name
            builder.add(handle, node.tag, layer, shapes, rgb=rgb, line_type=dashed, hidden=hidden)


def draw(pen: Pen, node: Node, width: float, height: float) -> str:
    """Draw one basic shape or path; return what is wrong with it, empty for nothing."""
    tag = node.tag
    if tag == "path":
        return draw_path(pen, node.get("d"))
    if tag in ("polyline", "polygon"):
        return _points(pen, node.get("points"), tag == "polygon")
    diagonal = math.hypot(width, height) / math.sqrt(2)

    def along(name: str, whole: float) -> float:
        return user_length(node.get(name), whole)

    if tag == "line":
        pen.move((along("x1", width), along("y1", height)))
        pen.line((along("x2", width), along("y2", height)))
        pen.lift()
    elif tag == "rect":
        _rect(pen, node, width, height)
    else:
        rx = along("r", diagonal) if tag == "circle" else along("rx", width)
        ry = rx if tag == "circle" else along("ry", height)
        if rx > 0 and ry > 0:
            ellipse = Affine(rx, 0.0, 0.0, ry, along("cx", width), along("cy", height))
            shape: Shape = pen.flattening.circular(pen.place.of(ellipse), (0.0, 0.0), 1.0, 0.0, math.tau)
            pen.subpaths.append((shape,))
    return ""


def _rect(pen: Pen, node: Node, width: float, height: float) -> None:
    x, y = user_length(node.get("x"), width), user_length(node.get("y"), height)
    w, h = user_length(node.get("width"), width), user_length(node.get("height"), height)
    if not (w > 0 and h > 0):
        return
    rx, ry = user_length(node.get("rx"), width, -1.0), user_length(node.get("ry"), height, -1.0)
    # One radius alone stands for both; neither exceeds half a side (SVG 2, section 10.2).
    rx, ry = (rx if rx >= 0 else max(ry, 0.0)), (ry if ry >= 0 else max(rx, 0.0))
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    if not rx or not ry:
        rx = ry = 0.0
    corners = (
        ((x + rx, y), (x + w - rx, y), (x + w, y + ry)),
        (None, (x + w, y + h - ry), (x + w - rx, y + h)),
        (None, (x + rx, y + h), (x, y + h - ry)),
        (None, (x, y + ry), (x + rx, y)),
    )
    for begin, straight_to, turned_to in corners:
        if begin is not None:
            pen.move(begin)
        if straight_to != pen.at:
            pen.line(straight_to)
        if rx:
            pen.arc(rx, ry, 0.0, False, True, turned_to)
    pen.close()


def _points(pen: Pen, text: str, closed: bool) -> str:
    values = [float(x) for x in NUMBER.findall(text)]
    if not all(map(math.isfinite, values)):
        return "a number too large"
    points = list(zip(values[::2], values[1::2], strict=False))
    if points:
        pen.move(points[0])
        for point in points[1:]:
            pen.line(point)
        if closed:
            pen.close()
        pen.lift()
    return "an odd number of coordinates" if len(values) % 2 else ""


def _chosen_name(name: str) -> str:
    """Return an id that somebody chose; empty for one that a program numbered (`g123`, `text11127`, `layer1`)."""
    return "" if _NUMBERED.fullmatch(name) else name


def _is_nought(opacity: str) -> bool:
    return re.fullmatch(r"0*\.?0*%?", opacity.strip()) is not None and "0" in opacity


def _texts(node: Node) -> list[str]:
    found = [node.text]
    for child in node.children:
        if child.tag != "title":
            found += _texts(child)
    return found


def _first(text: str, whole: float) -> float:
    parts = text.replace(",", " ").split()
    return user_length(parts[0], whole) if parts else 0.0


def _corner(node: Node, width: float, height: float) -> Point2:
    for x, y in (("x", "y"), ("cx", "cy"), ("x1", "y1")):
        if node.get(x) or node.get(y):
            return user_length(node.get(x), width), user_length(node.get(y), height)
    return 0.0, 0.0
