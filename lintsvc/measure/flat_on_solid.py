"""From a place in the flat of an unfolded solid to the place on the solid itself, with the faces that are there."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh, point3
from lintsvc.measure.nearest import nearest
from lintsvc.model.finding import Where
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Line, PanelPlace, Point2, Shape

if TYPE_CHECKING:
    from shapely.geometry import Polygon

#: A face is there when it comes so near to a point that lies on it (mm); triangles stray from curves.
_ON_MM = 0.05
#: Drawn things this far outside a finding's box still belong to it (mm).
_BESIDE_MM = 0.6
#: Looked for so far into a bend, from the panel beside it (mm).
_INTO_BEND_MM = 0.3


class FlatOnSolid:
    """The flat of a part that was unfolded from a solid, held against its triangles."""

    def __init__(self, part: Part) -> None:
        assert part.sheet is not None
        assert part.body is not None
        self.sheet, self.body = part.sheet, part.body
        self.thickness_mm = part.sheet.thickness_mm or 0.0

    @cached_property
    def _outlines(self) -> list[Polygon]:
        import shapely

        return [shapely.Polygon(x.outline) for x in self.sheet.panels]

    @cached_property
    def _mesh(self) -> Mesh:
        return Mesh.of(self.body)

    def where(self, flat: Where) -> Where:
        """Return the place on the solid: the point in the middle of the sheet, and the triangles of its faces there."""
        if not self.sheet.panels:
            return flat
        point = self._at((flat.point[0], flat.point[1]))
        (x0, y0, _), (x1, y1, _) = flat.box
        corners = np.array([self._at(p) for p in ((x0, y0), (x1, y0), (x0, y1), (x1, y1))])
        span = None
        if flat.span is not None:
            a, b = (self._at((x, y)) for x, y, _ in flat.span)
            span = (point3(a), point3(b))
        lines = tuple((point3(self._at((a[0], a[1]))), point3(self._at((b[0], b[1])))) for a, b in flat.lines)
        box = (point3(corners.min(axis=0)), point3(corners.max(axis=0)))
        return Where(point3(point), box, faces=self._faces(flat), entities=flat.entities, lines=lines, span=span)

    def _at(self, at: Point2) -> Floats:
        """The place in the middle of the sheet's thickness; of a place in a bend, on the panel beside it."""
        panel, near = self._panel(at)
        return _on(panel, near) + np.array(panel.inward) * self.thickness_mm / 2

    def _panel(self, at: Point2) -> tuple[PanelPlace, Point2]:
        import shapely
        from shapely.ops import nearest_points

        point = shapely.Point(at)
        number = min(range(len(self._outlines)), key=lambda i: float(self._outlines[i].distance(point)))
        near, _ = nearest_points(self._outlines[number], point)
        return self.sheet.panels[number], (near.x, near.y)

    def _faces(self, flat: Where) -> tuple[int, ...]:
        """Triangles of the faces that the finding's drawn things stand for."""
        probes, within = [], []
        for at in self._drawn(flat):
            panel, near = self._panel(at)
            beyond = math.dist(at, near)
            if beyond > _ON_MM:
                step = min(1.0, _INTO_BEND_MM / beyond)
                near = (near[0] + (at[0] - near[0]) * step, near[1] + (at[1] - near[1]) * step)
                probes.append(_on(panel, near))
                within.append(2 * _INTO_BEND_MM)
            else:
                probes.append(_on(panel, near) + np.array(panel.inward) * self.thickness_mm / 2)
                within.append(_ON_MM)
        if not probes or self.body.face_patch is None:
            return ()
        found = nearest(self._mesh.bvh, np.array(probes), np.array(within))
        patches = np.unique(self.body.face_patch[found.face[found.face >= 0]])
        return tuple(np.flatnonzero(np.isin(self.body.face_patch, patches)).tolist())

    def _drawn(self, flat: Where) -> Iterator[Point2]:
        """Yield points of the finding's entities, as far as they lie at it, and of what it measured."""
        (x0, y0, _), (x1, y1, _) = flat.box
        for number in flat.entities:
            if not 0 <= number < len(self.sheet.entities):
                continue
            for shape in self.sheet.entities[number].shapes:
                for x, y in _points(shape):
                    if x0 - _BESIDE_MM <= x <= x1 + _BESIDE_MM and y0 - _BESIDE_MM <= y <= y1 + _BESIDE_MM:
                        yield x, y
        if flat.span is not None:
            yield from ((x, y) for x, y, _ in flat.span)


def _on(panel: PanelPlace, at: Point2) -> Floats:
    return np.asarray(np.array(panel.rows) @ np.array([at[0], at[1], 1.0]))


def _points(shape: Shape) -> Iterator[Point2]:
    match shape:
        case Line(a, b):
            yield from ((a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for t in (0.1, 0.3, 0.5, 0.7, 0.9))
        case Circle(centre=c, radius_mm=r):
            yield from (_around(c, r, i * 30.0) for i in range(12))
        case Arc(centre=c, radius_mm=r, start_deg=start, end_deg=end):
            sweep = (end - start) % 360.0 or 360.0
            yield from (_around(c, r, start + sweep * t) for t in (0.1, 0.3, 0.5, 0.7, 0.9))
        case _:
            yield from shape.points


def _around(centre: Point2, radius: float, degrees: float) -> Point2:
    angle = math.radians(degrees)
    return centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)
