"""A picture of a body with its findings: shaded faces, faulty ones in their level's colour, a numbered ring at each."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from html import escape

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body
from lintsvc.model.finding import LEVELS, Finding, Level, Where
from lintsvc.reports.colours import LEVEL, PART, rgb
from lintsvc.reports.raster import NO_FACE, draw_faces, png
from lintsvc.reports.sketch import INK, WHITE, Item, Pixels, Ring, Sketch, Stroke, Words
from lintsvc.reports.words import xml_text

WIDTH, HEIGHT = 720, 480
_MARGIN = 36
#: Points of a page for each unit of the picture.
_PT = 0.6
#: Drawn so many times larger and averaged, for smooth edges. A picture near to a finding is shown small, and smooth as
#: it is.
_FINER, _FINER_CLOSE = 2, 1
#: Width of the stripes on faulty faces, in pixels of the picture.
_STRIPE = 6
#: Rings beyond this would cover the part.
MOST_RINGS = 40

Floats = NDArray[np.float64]
#: Where a body is seen from, unless another corner shows more of its faults: from the front, the right and above.
TOWARDS_EYE = (1.0, -1.6, 1.1)


@dataclass(frozen=True, eq=False)
class BodyView:
    """A body seen from one side: its PNG, WIDTH × HEIGHT at double resolution's average, and where points lie in it."""

    png: bytes = field(repr=False)
    #: Three rows: right, up, towards the eye.
    axes: Floats
    middle: Floats
    scale: float
    depth: Floats = field(repr=False)
    #: Pixels of `depth` for one of the picture.
    finer: int = _FINER

    def place(self, points_mm: Sequence[Sequence[float]] | Floats) -> Floats:
        """Return (n, 3): x from the left and y from the top in the picture, and how near to the eye."""
        moved = (np.asarray(points_mm, np.float64) @ self.axes.T - self.middle) * self.scale
        return np.stack([WIDTH / 2 + moved[:, 0], HEIGHT / 2 - moved[:, 1], moved[:, 2]], axis=1)

    def hides(self, x: float, y: float, z: float) -> bool:
        """True where something nearer lies over a placed point."""
        row, column = int(y * self.finer), int(x * self.finer)
        inside = 0 <= row < self.depth.shape[0] and 0 <= column < self.depth.shape[1]
        # Within three pixels of depth it lies on the surface that is seen.
        return bool(inside and self.depth[row, column] > (z + 3.0) * self.finer)


def body_view(
    body: Body, findings: Sequence[Finding] = (), margin: int = _MARGIN, *, around: Where | None = None
) -> BodyView:
    """Return the body as seen from the one of eight corners that shows most of the faulty faces.

    `around`: near to, with this place and as much again in the picture; whole without it.
    """
    points = body.vertices.astype(np.float64, copy=False)
    triangles = points[body.faces]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    colours, lit = _colours(len(body.faces), findings)
    axes = _view(normals, lit)
    turned = points @ axes.T
    low, high = turned[body.faces.ravel()].min(axis=0), turned[body.faces.ravel()].max(axis=0)
    if around is not None:
        low, high = _closer(around, axes, float(np.linalg.norm(high - low)))
    extent = np.maximum(high - low, 1e-9)
    scale = min((WIDTH - 2 * margin) / extent[0], (HEIGHT - 2 * margin) / extent[1])
    finer = _FINER if around is None else _FINER_CLOSE
    size = (HEIGHT * finer, WIDTH * finer)
    seen = np.full(size, NO_FACE, np.int32)
    depth = np.full(size, -np.inf)
    view = BodyView(b"", axes, (low + high) / 2, float(scale), depth, finer)
    placed = (view.place(points) * finer)[body.faces]
    nearest = np.inf
    if around is not None:
        # What stands before the place is cut away.
        nearest = float(view.place(_corners(around))[:, 2].max() + 1.0) * finer
    draw_faces(placed, seen, depth, nearest)
    return replace(view, png=png(_shade(seen, normals @ axes.T, colours, finer)))


def ringed(findings: Sequence[Finding]) -> list[tuple[int, Finding, Where]]:
    """Return the findings that get a ring, with their number in the ranked list and their place."""
    return [(number, x, x.where) for number, x in enumerate(findings, 1) if x.where is not None][:MOST_RINGS]


def body_svg(body: Body, findings: Sequence[Finding]) -> str:
    """Return an SVG that holds the picture and the rings. Numbers are those of the ranked list, from 1."""
    view = body_view(body, findings)
    data = base64.b64encode(view.png).decode("ascii")
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">',
        f'<image width="{WIDTH}" height="{HEIGHT}" href="data:image/png;base64,{data}"/>',
    ]
    for number, finding, where in ringed(findings):
        x, y, z = view.place([where.point])[0]
        lines.append(_ring(number, finding, x, y, hidden=view.hides(x, y, z)))
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def body_sketch(body: Body, findings: Sequence[Finding] = ()) -> Sketch:
    """Return the same picture as a drawing that a PDF can hold too."""
    view = body_view(body, findings)
    items: list[Item] = [Pixels((0.0, 0.0), WIDTH * _PT, HEIGHT * _PT, view.png)]
    for number, finding, where in ringed(findings):
        x, y, z = view.place([where.point])[0]
        items += numbered_ring(number, finding.level, (x * _PT, (HEIGHT - y) * _PT), hidden=view.hides(x, y, z))
    return Sketch(WIDTH * _PT, HEIGHT * _PT, tuple(items), "the body, seen from a corner")


def body_close(body: Body, number: int, finding: Finding) -> Sketch | None:
    """Return a picture near to one finding, `number` in the list; None where the whole picture is no farther away."""
    where = finding.where
    if where is None or _reach(where) > _MOST_CLOSE * _reach_of(body):
        return None
    view = body_view(body, [finding], around=where)
    items: list[Item] = [Pixels((0.0, 0.0), WIDTH * _PT, HEIGHT * _PT, view.png)]
    a = b = (0.0, 0.0)
    if where.span is not None:
        a, b = ((x * _PT, (HEIGHT - y) * _PT) for x, y, _ in view.place(where.span).tolist())
        items += [Stroke((a, b), WHITE, 3.4), Stroke((a, b), INK, 1.4)]
        items += [Ring(end, 2.2, INK, 1.2, fill=WHITE) for end in (a, b)]
    if where.span is None or math.dist(a, b) < _SHORT:
        x, y, z = view.place([where.point])[0]
        items += numbered_ring(number, finding.level, (x * _PT, (HEIGHT - y) * _PT), hidden=view.hides(x, y, z))
    return Sketch(WIDTH * _PT, HEIGHT * _PT, tuple(items), f"finding {number}, near to")


#: A place that reaches over more of the part than this is seen well enough on the whole picture.
_MOST_CLOSE = 0.5
#: A distance drawn shorter than this, points, is ringed as well.
_SHORT = 12.0
#: The least that is shown around a place, as a share of the part's size.
_LEAST_SHOWN = 0.06


def _corners(where: Where) -> Floats:
    """The (8, 3) corners of a place's box."""
    box = np.asarray(where.box, np.float64)
    return np.stack(np.meshgrid(*box.T, indexing="ij"), axis=-1).reshape(-1, 3)


def _reach(where: Where) -> float:
    return float(np.linalg.norm(np.subtract(where.box[1], where.box[0])))


def _reach_of(body: Body) -> float:
    used = body.vertices[body.faces.ravel()]
    return float(np.linalg.norm(used.max(axis=0) - used.min(axis=0)))


def _closer(where: Where, axes: Floats, size: float) -> tuple[Floats, Floats]:
    """Corners, as seen, of what is shown around a place."""
    corners = _corners(where) @ axes.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    middle = (low + high) / 2
    half = np.maximum((high - low) * 0.9, _LEAST_SHOWN * size)
    return middle - half, middle + half


def numbered_ring(
    number: int, level: Level, at: tuple[float, float], radius: float = 7.0, *, hidden: bool = False
) -> list[Item]:
    """Return a ring in the level's colour with its number beside it; dashed where it is hidden."""
    x, y = at
    colour = LEVEL[level]
    return [
        Ring(at, radius, WHITE, 2.8),
        Ring(at, radius, colour, 1.4, dash=(3.0, 2.2) if hidden else ()),
        Words((x + 0.8 * radius + 2.0, y + 0.8 * radius + 2.0), str(number), 9.0, colour, "start", bold=True),
    ]


def _colours(count: int, findings: Sequence[Finding]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return each face's index into LEVELS (their number for a sound face), and which faces are faulty."""
    found = np.full(count, len(LEVELS), np.uint8)
    # Best last to worst: the worst colour stays.
    for finding in sorted(findings, key=lambda x: -LEVELS.index(x.level)):
        faces = np.asarray(finding.where.faces if finding.where else (), np.int64)
        found[faces[(faces >= 0) & (faces < count)]] = LEVELS.index(finding.level)
    return found, found < len(LEVELS)


def _view(normals: Floats, lit: NDArray[np.bool_]) -> Floats:
    """Return three rows: right, up and towards the eye, for the corner that sees most of the faulty faces."""
    corners = [TOWARDS_EYE, (-1.0, -1.6, 1.1), (1.0, 1.6, 1.1), (-1.0, 1.6, 1.1)]
    corners += [(x, y, -z) for x, y, z in corners]
    # From the front, the right and above, unless another corner shows clearly more.
    best, most = corners[0], -1.0
    for corner in corners:
        towards = np.asarray(corner) / np.linalg.norm(corner)
        shown = float(np.maximum(normals[lit] @ towards, 0.0).sum())
        if shown > most * 1.2 + 1e-9 or most < 0:
            best, most = corner, shown
    towards = np.asarray(best) / np.linalg.norm(best)
    right = np.cross((0.0, 0.0, 1.0), towards)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(towards, right), towards])


def _shade(seen: NDArray[np.int32], normals: Floats, colours: NDArray[np.uint8], finer: int) -> NDArray[np.uint8]:
    """Return (h, w, 4) at the final size: faces lit from the upper left, edges between them darkened."""
    palette = np.asarray([rgb(LEVEL[x]) for x in LEVELS] + [rgb(PART)], np.float64)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    unit = normals / np.where(lengths > 0, lengths, 1.0)
    light = np.asarray((-0.35, 0.55, 0.76))
    # Both sides are lit: a faulty mesh may be turned inside out.
    shade = 0.45 + 0.6 * np.abs(unit @ light)
    faulty = colours < len(LEVELS)
    # Faulty faces keep their colour, however they lie.
    shade = np.where(faulty, 0.8 + 0.3 * shade, shade)
    plain = np.minimum(palette[colours] * shade[:, None], 255.0)
    # Each face has four looks: plain, as an edge, striped, and both. After the last stand those of no face, black.
    looks = np.stack([plain, plain * 0.55, plain * 0.62, plain * 0.62 * 0.55], axis=1).reshape(-1, 3)
    looks = np.concatenate([looks, np.zeros((4, 3))])
    look = 4 * seen + _edges(seen, unit)
    if faulty.any():
        # Striped, so that they are told apart on a grey printer too.
        rows, columns = np.ogrid[: seen.shape[0], : seen.shape[1]]
        striped = (rows + columns) // (_STRIPE * finer) % 2 == 0
        look += 2 * ((seen != NO_FACE) & faulty[seen] & striped)
    blocks = [look[row::finer, column::finer] for row in range(finer) for column in range(finer)]
    count = np.sum([x >= 0 for x in blocks], axis=0)[..., None]
    mixed = np.sum([looks[x] for x in blocks], axis=0) / np.maximum(count, 1)
    return np.concatenate([mixed, 255.0 * count / finer**2], axis=2).round().astype(np.uint8)


def _edges(seen: NDArray[np.int32], unit: Floats) -> NDArray[np.bool_]:
    """Return pixels where the surface bends by more than 30° towards the next pixel, or ends."""
    edge = np.zeros(seen.shape, bool)
    for axis in (0, 1):
        near, far = [slice(None)] * 2, [slice(None)] * 2
        near[axis], far[axis] = slice(None, -1), slice(1, None)
        a, b = seen[tuple(near)], seen[tuple(far)]
        # Within one face nothing bends.
        at = np.nonzero(a != b)
        a, b = a[at], b[at]
        bends = np.abs(np.einsum("ij,ij->i", unit[a], unit[b])) < np.cos(np.radians(30.0))
        edge[tuple(near)][at] |= (a != NO_FACE) & ((b == NO_FACE) | bends)
        edge[tuple(far)][at] |= (b != NO_FACE) & (a == NO_FACE)
    return edge


def _ring(number: int, finding: Finding, x: float, y: float, *, hidden: bool) -> str:
    colour = LEVEL[finding.level]
    dashed = ' stroke-dasharray="4 3"' if hidden else ""
    title = escape(xml_text(f"{number}. {finding.rule}: {finding.message}"))
    return (
        f'<g><title>{title}</title><circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="none" stroke="#ffffff" '
        f'stroke-width="4"/><circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="none" stroke="{colour}" '
        f'stroke-width="2"{dashed}/><text x="{x + 13:.1f}" y="{y - 8:.1f}" fill="{colour}" stroke="#ffffff" '
        f'stroke-width="3" paint-order="stroke" font-family="sans-serif" font-weight="bold" '
        f'font-size="15">{number}</text></g>'
    )
