"""One DXF entity into shapes, in its place in the drawing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from lintsvc.model.sheet import Line, Point2, Shape
from lintsvc.readers.dxf_drawing import Drawn
from lintsvc.readers.dxf_frame import Frame, Vector, cross, extruded
from lintsvc.readers.dxf_tags import Record, as_float, damaged
from lintsvc.readers.flat_affine import Affine
from lintsvc.readers.flat_curves import Flattening, bulge_arc, straight
from lintsvc.readers.flat_sheet import out_of_reach
from lintsvc.readers.flat_splines import BadSpline, bspline_points


@dataclass(slots=True)
class Curves:
    """Shapes of one entity, and what was noticed. `z`: lowest and highest, mm."""

    shapes: tuple[Shape, ...]
    z: tuple[float, float] = (0.0, 0.0)
    tilted: bool = False
    #: Why it can be no contour, where it has no shapes; and where it stands.
    stray: str = ""
    at: Point2 | None = None
    #: Something that was put right or read in one of two ways.
    remark: str = ""


Reader = Callable[[Drawn, Frame, Flattening], Curves]


_LINE_CODES = (10, 20, 30, 11, 21, 31)


def _line(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    x1, y1, z1, x2, y2, z2 = drawn.record.numbers(_LINE_CODES)
    a, b = frame.at(x1, y1, z1), frame.at(x2, y2, z2)
    z = (a[2], b[2]) if a[2] <= b[2] else (b[2], a[2])
    start, end = a[:2], b[:2]
    if start == end:
        return Curves((), z, stray="a line without length", at=start)
    return Curves((Line(start, end),), z, a[2] != b[2])


def _plane(record: Record, frame: Frame) -> Frame:
    if 210 not in record.codes and 230 not in record.codes:
        return frame
    own = extruded((record.number(210), record.number(220), record.number(230, 1.0)))
    return frame if own is None else frame.of(own)


def _round(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    r = drawn.record
    plane = _plane(r, frame)
    centre, elevation, radius = (r.number(10), r.number(20)), r.number(30), r.number(40)
    place = plane.plane(elevation)
    z = plane.at(*centre, elevation)[2]
    if not radius > 0:
        return Curves((), (z, z), stray=f"a {r.kind.lower()} of radius {radius:g}", at=place.at(*centre))
    start, sweep, remark = 0.0, math.tau, ""
    if r.kind == "ARC":
        begin, end = r.number(50), r.number(51)
        turn = (end - begin) % 360
        start, sweep = math.radians(begin), math.radians(turn)
        if turn < 1e-9 or turn > 360 - 1e-9:
            sweep, remark = math.tau, "Arcs of a full turn are read as circles ({n})."
    return _planar(plane, z, (flattening.circular(place, centre, radius, start, sweep),), remark)


def _planar(plane: Frame, z: float, shapes: tuple[Shape, ...], remark: str = "") -> Curves:
    return Curves(shapes, (z, z), plane.tilted, remark=remark)


def _ellipse(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    r = drawn.record
    centre = (r.number(10), r.number(20), r.number(30))
    major = (r.number(11), r.number(21), r.number(31))
    normal: Vector = (r.number(210), r.number(220), r.number(230, 1.0))
    length = math.sqrt(sum(x * x for x in normal)) or 1.0
    ratio = r.number(40, 1.0)
    sideways = cross((normal[0] / length, normal[1] / length, normal[2] / length), major)
    minor = (sideways[0] * ratio, sideways[1] * ratio, sideways[2] * ratio)
    plane = frame.of(Frame(major, minor, (0.0, 0.0, 1.0), centre))
    z = plane.origin[2]
    place = plane.plane(0.0)
    if abs(place.a * place.d - place.b * place.c) == 0:
        return Curves((), (z, z), stray="an ellipse without width", at=place.at(0.0, 0.0))
    start, end = r.number(41), r.number(42, math.tau)
    sweep = (end - start) % math.tau
    if sweep < 1e-9 or sweep > math.tau - 1e-9:
        sweep = math.tau
    return _planar(plane, z, (flattening.circular(place, (0.0, 0.0), 1.0, start, sweep),))


def _lwpolyline(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    r = drawn.record
    vertices: list[list[float]] = []
    for code, value in zip(r.codes, r.values, strict=True):
        if code == 10:
            vertices.append([as_float(value, r), 0.0, 0.0])
        elif vertices and code == 20:
            vertices[-1][1] = as_float(value, r)
        elif vertices and code == 42:
            vertices[-1][2] = as_float(value, r)
    plane = _plane(r, frame)
    elevation = r.number(38)
    wide = r.number(43) != 0 or any(r.all(40)) or any(r.all(41))
    return _polyline(r, vertices, plane, elevation, flattening, wide)


def _old_polyline(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    r = drawn.record
    flags = r.whole(70)
    # 16 among a vertex's flags: a control point of the curve, not on it.
    vertices = [v for v in drawn.parts if not v.whole(70) & 16]
    if flags & 8:
        return _spatial(r, [(v.number(10), v.number(20), v.number(30)) for v in vertices], frame, flattening)
    flat = [[v.number(10), v.number(20), v.number(42)] for v in vertices]
    wide = any(v.number(40) or v.number(41) for v in vertices) or bool(r.number(40) or r.number(41))
    return _polyline(r, flat, _plane(r, frame), r.number(30), flattening, wide)


def _spatial(r: Record, vertices: list[Vector], frame: Frame, flattening: Flattening) -> Curves:
    """A polyline in space: seen from above, its heights noticed."""
    flattening.spend(len(vertices))
    placed = [frame.at(*v) for v in vertices]
    if r.whole(70) & 1 and placed:
        placed.append(placed[0])
    heights = [p[2] for p in placed] or [0.0]
    shape = straight([p[:2] for p in placed])
    z = (min(heights), max(heights))
    if shape is None:
        return Curves((), z, stray="a polyline without length", at=placed[0][:2] if placed else None)
    return Curves((shape,), z, z[0] != z[1])


def _polyline(
    r: Record, vertices: Sequence[Sequence[float]], plane: Frame, elevation: float, flattening: Flattening, wide: bool
) -> Curves:
    flattening.spend(len(vertices))
    place = plane.plane(elevation)
    z = plane.at(vertices[0][0], vertices[0][1], elevation)[2] if vertices else 0.0
    shapes = polyline_shapes(vertices, bool(r.whole(70) & 1), place, flattening)
    if not shapes:
        at = place.at(vertices[0][0], vertices[0][1]) if vertices else None
        return Curves((), (z, z), stray="a polyline without length", at=at)
    return _planar(plane, z, shapes, "{n} polylines have a width; their middle line is taken." if wide else "")


def polyline_shapes(
    vertices: Sequence[Sequence[float]], closed: bool, place: Affine, flattening: Flattening
) -> tuple[Shape, ...]:
    """Return runs of straight pieces, and an arc for each bulge, of vertices (x, y, bulge)."""
    if closed and len(vertices) > 1:
        vertices = [*vertices, vertices[0]]
    shapes: list[Shape] = []
    run: list[Point2] = []
    for a, b in pairwise(vertices):
        if not run:
            run = [place.at(a[0], a[1])]
        bulge = a[2]
        arc = bulge_arc((a[0], a[1]), (b[0], b[1]), bulge) if bulge else None
        if arc is None:
            run.append(place.at(b[0], b[1]))
            continue
        _close_run(shapes, run)
        run = []
        shapes.append(flattening.circular(place, *arc))
    _close_run(shapes, run)
    return tuple(shapes)


def _close_run(shapes: list[Shape], run: list[Point2]) -> None:
    shape = straight(run)
    if shape is not None:
        shapes.append(shape)


def _spline(drawn: Drawn, frame: Frame, flattening: Flattening) -> Curves:
    r = drawn.record
    degree = r.whole(71, 3)
    said = (r.whole(72), r.whole(73), r.whole(74))
    knots, weights = r.all(40), r.all(41)
    control = _points(r, 10)
    fit = _points(r, 11)
    there = (len(knots), len(control), len(fit))
    for name, stated, count in zip(("knots", "control points", "fit points"), said, there, strict=True):
        if stated > count:
            raise damaged(r, f"a spline says it has {stated:,} {name}, and {count} are there")
    if not control and fit:
        degree, knots, control = _through(r, fit)
        weights = []
    placed = [frame.at(*p) for p in control]
    if any(out_of_reach(v) for p in placed for v in p):
        raise damaged(r, "a spline reaches further than 1000 km")
    try:
        points = bspline_points(flattening, degree, knots, [p[:2] for p in placed], weights)
    except BadSpline as error:
        raise damaged(r, f"a spline has {error}") from error
    heights = [p[2] for p in placed]
    z = (min(heights), max(heights))
    if r.whole(70) & 1 and math.dist(points[0], points[-1]) < flattening.tolerance_mm:
        points[-1] = points[0]
    shape = straight(points)
    if shape is None:
        return Curves((), z, stray="a spline without length", at=points[0])
    return Curves((shape,), z, z[1] - z[0] > 1e-9)


def _through(r: Record, fit: list[Vector]) -> tuple[int, list[float], list[Vector]]:
    """Return degree, knots and control points of the curve through fit points alone."""
    if len(fit) > 5000:
        raise damaged(r, f"a spline through {len(fit):,} points without control points")
    size = max(max(axis) - min(axis) for axis in zip(*fit, strict=True))
    if not 0 < size < 1e12:
        raise damaged(r, f"a spline of size {size:g}")
    # 0.3 s to import; such splines are rare.
    import numpy as np
    from scipy.interpolate import make_interp_spline

    # Doubled points would stop the parameter.
    kept = np.array([fit[0], *(b for a, b in pairwise(fit) if math.dist(a, b) > 1e-9 * size)])
    # The usual curve through fit points: cubic, its parameter the length of the chords, no curvature at its
    # ends unless end tangents are given.
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(kept, axis=0), axis=1))])
    ends: Any = "natural"
    if 12 in r.codes and 13 in r.codes:
        tangents = [np.array(_points(r, code)[0]) for code in (12, 13)]
        if all(np.any(t) for t in tangents):
            ends = tuple([(1, t / np.linalg.norm(t))] for t in tangents)
    degree = 3 if len(kept) > 2 or not isinstance(ends, str) else 1
    try:
        curve = make_interp_spline(along, kept, k=degree, bc_type=ends if degree == 3 else None)
    except ValueError as error:
        raise damaged(r, "no curve goes through a spline's fit points") from error
    return degree, [float(k) for k in curve.t], [(float(x), float(y), float(z)) for x, y, z in curve.c]


def _points(r: Record, code: int) -> list[Vector]:
    points: list[list[float]] = []
    for c, value in zip(r.codes, r.values, strict=True):
        if c == code:
            points.append([as_float(value, r), 0.0, 0.0])
        elif points and c == code + 10:
            points[-1][1] = as_float(value, r)
        elif points and c == code + 20:
            points[-1][2] = as_float(value, r)
    return [(p[0], p[1], p[2]) for p in points]


READERS: dict[str, Reader] = {
    "LINE": _line,
    "CIRCLE": _round,
    "ARC": _round,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _old_polyline,
    "SPLINE": _spline,
}
