"""The envelope of a bought-in thing as a shape: a box, a cylinder, or a file's mesh moved to its middle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lintsvc.order.file import BoughtEntry
from lintsvc.order.shape import Floats, Holes, Ints, NoShape, Shape, area_of, from_bytes, no_holes, volume_and_centre

#: Sides of the prism that stands for a cylinder. Its corners lie on the circle: the envelope is never too large.
_SIDES = 96


def envelope(entry: BoughtEntry, measured: bytes | None = None) -> Shape:
    """Return the envelope, its middle at the origin. `measured`: the shape of its file, for `shape = "file"`.

    Raises NoShape for a file that gives none.
    """
    if entry.shape == "box" and entry.size is not None:
        vertices, faces = box_mesh(np.array(entry.size) / 2)
    elif entry.shape == "cylinder" and entry.diameter is not None and entry.height is not None:
        vertices, faces = cylinder_mesh(entry.diameter / 2, entry.height)
    elif measured is not None:
        found = from_bytes(measured)
        low, high = found.box
        middle = (low + high) / 2
        centre = None
        if found.centre_mm is not None:
            x, y, z = (np.array(found.centre_mm) - middle).tolist()
            centre = (x, y, z)
        size = (high - low) / 2
        return replace(
            found, kind="bought", vertices=found.vertices - middle, holes=_holes(entry, size), centre_mm=centre
        )
    else:
        raise NoShape("its file was not read")
    volume, centre = volume_and_centre(vertices, faces)
    half = vertices.max(axis=0)
    return Shape("bought", vertices, faces, _holes(entry, half), volume, centre, area_of(vertices, faces))


def _holes(entry: BoughtEntry, half: Floats) -> Holes:
    """Return its fixing holes, along the axis of the face of the box around it that a hole's middle is nearest to.

    One of no named depth goes through to both sides of that box. `half`: half the size of the box.
    """
    if not entry.holes:
        return no_holes()
    rows = []
    for number, hole in enumerate(entry.holes):
        at = np.array(hole.at, float)
        axis = int(np.argmin(half - np.abs(at)))
        for sign in (1.0, -1.0):
            out, end = np.zeros(3), at.copy()
            out[axis] = sign
            if hole.depth is None:
                end[axis] = sign * half[axis]
            elif sign * at[axis] < 0 or (at[axis] == 0 and sign < 0):
                # It opens only to the side that it lies on.
                continue
            rows.append((end, out, hole.diameter, number, hole.depth or 2 * half[axis], hole.depth is None))
    n = len(rows)
    return Holes(
        np.array([x[0] for x in rows]),
        np.array([x[1] for x in rows]),
        np.array([x[2] for x in rows], float),
        np.array([x[4] for x in rows], float),
        np.array([x[3] for x in rows], np.int32),
        np.array([x[5] for x in rows], bool),
        np.full(n, -1, np.int32),
        np.array([float(x[1].sum()) > 0 for x in rows]),
        np.full((n, 2), np.nan),
    )


def box_mesh(half: Floats) -> tuple[Floats, Ints]:
    """Return the mesh of a box about the origin: (8, 3) corners, (12, 3) faces outward."""
    corners = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float) * half
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], np.int32)


def cylinder_mesh(radius: float, height: float) -> tuple[Floats, Ints]:
    """Return the mesh of a prism inside a cylinder along z about the origin."""
    turn = np.arange(_SIDES) * 2 * np.pi / _SIDES
    ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    low = np.column_stack([ring, np.full(_SIDES, -height / 2)])
    vertices = np.vstack([low, low + np.array([0, 0, height]), [[0, 0, -height / 2], [0, 0, height / 2]]])
    i = np.arange(_SIDES)
    j = (i + 1) % _SIDES
    bottom, top = np.full(_SIDES, 2 * _SIDES), np.full(_SIDES, 2 * _SIDES + 1)
    faces = np.vstack(
        [
            np.column_stack([i, j, j + _SIDES]),
            np.column_stack([i, j + _SIDES, i + _SIDES]),
            np.column_stack([bottom, j, i]),
            np.column_stack([top, i + _SIDES, j + _SIDES]),
        ]
    )
    return vertices, faces.astype(np.int32)
