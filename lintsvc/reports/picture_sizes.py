"""A picture of a body with its overall sizes, and with names at places: the folded part with its bends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lintsvc.model.body import Body
from lintsvc.reports.picture_body import HEIGHT, WIDTH, BodyView, body_view
from lintsvc.reports.sketch import INK, Item, Pixels, Point, Sketch, Stroke, Words, dimension, moved

#: Points of a page for each unit of the picture.
_PT = 0.6
_MARGIN = 78


@dataclass(frozen=True, slots=True)
class Label:
    """Words that point at a place of the body."""

    at_mm: tuple[float, float, float]
    text: str
    colour: str = INK


def sized_body(body: Body, labels: Iterable[Label] = (), size_mm: Sequence[float] | None = None) -> Sketch:
    """Return the shaded body with length, width and height along its box, and labels that point at places.

    `size_mm`: what is written along x, y, z, where that is known better than from the triangles.
    """
    view = body_view(body, margin=_MARGIN)
    used = body.vertices[body.faces.ravel()]
    low, high = used.min(axis=0).astype(float), used.max(axis=0).astype(float)
    sizes = [float(x) for x in (high - low if size_mm is None else size_mm)]
    width, height = WIDTH * _PT, HEIGHT * _PT
    items: list[Item] = [Pixels((0.0, 0.0), width, height, view.png)]
    x0, y0, z0 = low.tolist()
    x1, y1, z1 = high.tolist()
    # Seen from the front, the right and above: the lower front and right edges and the left upright are outermost.
    edges = (((x0, y0, z0), (x1, y0, z0)), ((x1, y0, z0), (x1, y1, z0)), ((x0, y0, z0), (x0, y0, z1)))
    middle = _page(view, [(low + high) / 2])[0]
    for (start, end), size in zip(edges, sizes, strict=True):
        a, b = _page(view, [start, end])
        items += dimension(a, b, f"{round(size, 2):g} mm", away=_outward(a, b, middle) * 13.0)
    for label in labels:
        x, y, z = view.place([label.at_mm])[0].tolist()
        items += _pointer(_page(view, [label.at_mm])[0], label, hidden=view.hides(x, y, z))
    return _cropped(items, view, body)


def _cropped(items: list[Item], view: BodyView, body: Body) -> Sketch:
    """Return the drawing without the empty paper around it."""
    around = _page(view, body.vertices[body.faces.ravel()])
    for item in items:
        if isinstance(item, Stroke):
            around += item.points
        elif isinstance(item, Words):
            around += [(item.at[0] - 40.0, item.at[1] - 6.0), (item.at[0] + 40.0, item.at[1] + 6.0)]
    x0, y0 = (min(p[i] for p in around) - 6.0 for i in (0, 1))
    x1, y1 = (max(p[i] for p in around) + 6.0 for i in (0, 1))
    return Sketch(x1 - x0, y1 - y0, tuple(moved(x, -x0, -y0) for x in items), "the part with its overall sizes")


def _page(view: BodyView, points: Any) -> list[Point]:
    """Return where points (n, 3) lie on the page."""
    placed = view.place(np.asarray(points, np.float64))
    return [(float(x) * _PT, (HEIGHT - float(y)) * _PT) for x, y, _ in placed]


def _outward(a: Point, b: Point, middle: Point) -> float:
    """Return 1 when the side to the left of a to b leads away from the middle, else -1."""
    cross = (b[0] - a[0]) * (middle[1] - a[1]) - (b[1] - a[1]) * (middle[0] - a[0])
    return -1.0 if cross > 0 else 1.0


def _pointer(at: Point, label: Label, *, hidden: bool) -> list[Item]:
    """A short line straight up, dashed to what lies behind, with words at its end: sizes stand below and left."""
    end = (at[0], at[1] + 26.0)
    return [
        Stroke((at, end), label.colour, 0.7, (2.0, 2.0) if hidden else ()),
        Words((end[0], end[1] + 4.0), label.text, 8.0, label.colour, bold=True),
    ]
