"""A picture of a body with its findings: shaded faces, faulty ones in their level's colour, a numbered ring at each."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body
from lintsvc.model.finding import LEVELS, Finding
from lintsvc.reports.colours import LEVEL, PART, rgb
from lintsvc.reports.raster import NO_FACE, draw_faces, png
from lintsvc.reports.words import xml_text

WIDTH, HEIGHT = 720, 480
_MARGIN = 36
#: Drawn so many times larger and averaged, for smooth edges.
_FINER = 2
#: Rings beyond this would cover the part.
MOST_RINGS = 40

Floats = NDArray[np.float64]


def body_svg(body: Body, findings: Sequence[Finding]) -> str:
    """Return an SVG that holds the picture and the rings. Numbers are those of the ranked list, from 1.

    Seen from the one of eight corners that shows most of the faulty faces.
    """
    points = body.vertices.astype(np.float64, copy=False)
    triangles = points[body.faces]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    colours, lit = _colours(len(body.faces), findings)
    axes = _view(normals, lit)
    turned = points @ axes.T
    low, high = turned[body.faces.ravel()].min(axis=0), turned[body.faces.ravel()].max(axis=0)
    extent = np.maximum(high - low, 1e-9)
    scale = min((WIDTH - 2 * _MARGIN) / extent[0], (HEIGHT - 2 * _MARGIN) / extent[1])
    middle = (low + high) / 2

    def to_pixels(turned: Floats) -> Floats:
        moved = (turned - middle) * scale
        return np.stack([WIDTH / 2 + moved[:, 0], HEIGHT / 2 - moved[:, 1], moved[:, 2]], axis=1)

    size = (HEIGHT * _FINER, WIDTH * _FINER)
    seen = np.full(size, NO_FACE, np.int32)
    depth = np.full(size, -np.inf)
    draw_faces((to_pixels(turned) * _FINER)[body.faces], seen, depth)
    image = _shade(seen, normals @ axes.T, colours)
    data = base64.b64encode(png(image)).decode("ascii")
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">',
        f'<image width="{WIDTH}" height="{HEIGHT}" href="data:image/png;base64,{data}"/>',
    ]
    placed = [(number, x) for number, x in enumerate(findings, 1) if x.where is not None][:MOST_RINGS]
    for number, finding in placed:
        assert finding.where is not None  # looked at just above
        x, y, z = to_pixels(np.asarray([finding.where.point], np.float64) @ axes.T)[0]
        lines.append(_ring(number, finding, x, y, hidden=_behind(x, y, z, depth)))
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


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
    corners = [(1.0, -1.6, 1.1), (-1.0, -1.6, 1.1), (1.0, 1.6, 1.1), (-1.0, 1.6, 1.1)]
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


def _shade(seen: NDArray[np.int32], normals: Floats, colours: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return (h, w, 4) at the final size: faces lit from the upper left, edges between them darkened."""
    palette = np.asarray([rgb(LEVEL[x]) for x in LEVELS] + [rgb(PART)], np.float64)
    there = seen != NO_FACE
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    unit = normals / np.where(lengths > 0, lengths, 1.0)
    light = np.asarray((-0.35, 0.55, 0.76))
    # Both sides are lit: a faulty mesh may be turned inside out.
    shade = 0.45 + 0.6 * np.abs(unit @ light)
    # Faulty faces keep their colour, however they lie.
    shade = np.where(colours < len(LEVELS), 0.8 + 0.3 * shade, shade)
    face = np.where(there, seen, 0)
    image = np.zeros((*seen.shape, 4))
    image[..., :3] = np.minimum(palette[colours[face]] * shade[face][..., None], 255.0)
    image[..., 3] = np.where(there, 255.0, 0.0)
    edge = _edges(unit[face], there)
    image[edge, :3] *= 0.55
    image[~there, :3] = 0.0
    height, width = seen.shape[0] // _FINER, seen.shape[1] // _FINER
    blocks = image.reshape(height, _FINER, width, _FINER, 4)
    weight = blocks[..., 3:] / 255.0
    total = weight.sum(axis=(1, 3))
    mixed = (blocks[..., :3] * weight).sum(axis=(1, 3)) / np.maximum(total, 1e-9)
    return np.concatenate([mixed, 255.0 * total / _FINER**2], axis=2).round().astype(np.uint8)


def _edges(unit: Floats, there: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return pixels where the surface bends by more than 30° towards the next pixel, or ends."""
    edge = np.zeros(there.shape, bool)
    for axis in (0, 1):
        near, far = [slice(None)] * 2, [slice(None)] * 2
        near[axis], far[axis] = slice(None, -1), slice(1, None)
        a, b = tuple(near), tuple(far)
        bends = np.abs(np.einsum("ijk,ijk->ij", unit[a], unit[b])) < np.cos(np.radians(30.0))
        edge[a] |= there[a] & (~there[b] | bends)
        edge[b] |= there[b] & ~there[a]
    return edge


def _behind(x: float, y: float, z: float, depth: Floats) -> bool:
    row, column = int(y * _FINER), int(x * _FINER)
    inside = 0 <= row < depth.shape[0] and 0 <= column < depth.shape[1]
    # Within three pixels of depth it lies on the surface that is seen.
    return bool(inside and depth[row, column] > (z + 3.0) * _FINER)


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
