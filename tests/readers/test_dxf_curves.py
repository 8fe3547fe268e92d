"""Circles and arcs keep their true radius; other curves lie within the stated tolerance of the true ones."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Line, Polyline

quick = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


def read(folder: Path, entities: str, **more: object) -> Part:
    return read_bytes(folder, made.dxf(entities, **more))  # type: ignore[arg-type]


def test_circle_keeps_its_radius_in_inches(tmp_path: Path) -> None:
    assert made.only(read(tmp_path, made.circle(1, 2, 0.125), units=1)) == Circle((25.4, 50.8), 3.175)


def test_arc_runs_counter_clockwise(tmp_path: Path) -> None:
    arc = made.only(read(tmp_path, made.entity("ARC", (10, 0), (20, 0), (40, 5), (50, 350), (51, 20))))
    assert arc == Arc((0, 0), 5, 350, 380)


@pytest.mark.parametrize(("begin", "end"), [(0, 360), (90, 90), (-180, 180)])
def test_arc_of_a_full_turn_is_a_circle(tmp_path: Path, begin: float, end: float) -> None:
    part = read(tmp_path, made.entity("ARC", (10, 1), (20, 0), (40, 5), (50, begin), (51, end)))
    assert made.only(part) == Circle((1, 0), 5)


def test_mirrored_extrusion_puts_the_hole_on_the_other_side(tmp_path: Path) -> None:
    # DXF reference, object coordinate systems: with extrusion (0, 0, -1) the x axis runs backwards.
    hole = made.circle(-20, 20, 5, (210, 0), (220, 0), (230, -1))
    assert made.only(read(tmp_path, hole)) == Circle((20, 20), 5)


def test_mirrored_arc_keeps_its_ends(tmp_path: Path) -> None:
    arc = made.only(read(tmp_path, made.entity("ARC", (10, 0), (20, 0), (40, 5), (50, 0), (51, 90), (230, -1))))
    assert isinstance(arc, Arc)
    np.testing.assert_allclose(made.ends_of(arc), [(0, 5), (-5, 0)], atol=1e-12)


def test_half_circle_by_bulge(tmp_path: Path) -> None:
    # A bulge of 1 is a half circle, counter-clockwise: from (0, 0) to (10, 0) it passes below.
    (shape, back) = made.drawn(read(tmp_path, made.polyline([(0, 0, 1), (10, 0)])))[0].shapes
    assert isinstance(shape, Arc)
    assert shape.centre == pytest.approx((5, 0))
    assert shape.radius_mm == pytest.approx(5)
    assert made.points_of(shape)[180] == pytest.approx((5, -5))
    assert back == Line((10, 0), (0, 0))


@given(
    a=st.tuples(st.floats(-100, 100), st.floats(-100, 100)),
    b=st.tuples(st.floats(-100, 100), st.floats(-100, 100)),
    bulge=st.floats(-5, 5).filter(lambda x: abs(x) > 1e-3),
)
@quick
def test_bulge_runs_from_vertex_to_vertex(
    tmp_path: Path, a: tuple[float, float], b: tuple[float, float], bulge: float
) -> None:
    if math.dist(a, b) < 0.5:
        return
    arc = made.drawn(read(tmp_path, made.polyline([(*a, bulge), b], closed=False)))[0].shapes[0]
    assert isinstance(arc, Arc)
    ends = made.ends_of(arc) if bulge > 0 else made.ends_of(arc)[::-1]
    np.testing.assert_allclose(ends, [a, b], atol=1e-6)
    # The bulge is the tangent of a quarter of the angle (DXF reference).
    assert math.tan(math.radians(arc.end_deg - arc.start_deg) / 4) == pytest.approx(abs(bulge), rel=1e-6)


@given(
    major=st.floats(0.5, 500),
    ratio=st.floats(0.05, 1),
    turn=st.floats(0, 360),
    begin=st.floats(0, 6),
    sweep=st.floats(0.1, 6.2),
)
@quick
def test_ellipse_lies_within_the_tolerance(
    tmp_path: Path, major: float, ratio: float, turn: float, begin: float, sweep: float
) -> None:
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    pairs = [(10, 3), (20, 4), (11, major * c), (21, major * s), (40, ratio), (41, begin), (42, begin + sweep)]
    part = read(tmp_path, made.entity("ELLIPSE", *pairs))
    t = np.linspace(begin, begin + sweep, 2000)
    u, v = major * np.cos(t), major * ratio * np.sin(t)
    true = np.column_stack([3 + c * u - s * v, 4 + s * u + c * v])
    assert part.sheet is not None
    assert part.sheet.chord_tolerance_mm <= 0.01
    assert (
        made.furthest(true, made.drawn(part)[0].shapes)
        <= part.sheet.chord_tolerance_mm + 1e-4 * (ratio > 0.999) * major
    )


def test_round_ellipse_is_a_circle(tmp_path: Path) -> None:
    ellipse = made.entity("ELLIPSE", (10, 1), (20, 2), (11, 0), (21, 3), (40, 1), (41, 0), (42, math.tau))
    assert made.only(read(tmp_path, ellipse)) == Circle((1, 2), 3)


def spline(degree: int, knots: list[float], control: np.ndarray, weights: list[float] | None = None) -> str:
    pairs: list[tuple[int, object]] = [(70, 8), (71, degree), (72, len(knots)), (73, len(control)), (74, 0)]
    pairs += [(40, repr(float(k))) for k in knots]
    for i, (x, y) in enumerate(control):
        pairs += [(10, repr(float(x))), (20, repr(float(y))), (30, 0)]
        if weights:
            pairs.append((41, weights[i]))
    return made.entity("SPLINE", *pairs)


@given(
    degree=st.integers(1, 5),
    extra=st.integers(0, 6),
    clamped=st.booleans(),
    weighted=st.booleans(),
    seed=st.integers(0, 10_000),
)
@quick
def test_spline_lies_within_the_tolerance(
    tmp_path: Path, degree: int, extra: int, clamped: bool, weighted: bool, seed: int
) -> None:
    from scipy.interpolate import BSpline

    random = np.random.default_rng(seed)
    count = degree + 1 + extra
    control = random.uniform(-50, 50, (count, 2))
    inner = np.sort(random.uniform(0, 1, count + degree + 1))
    if clamped:
        inner[: degree + 1], inner[-degree - 1 :] = 0.0, 1.0
    weights = random.uniform(0.2, 3, count) if weighted else np.ones(count)
    part = read(tmp_path, spline(degree, inner.tolist(), control, weights.tolist() if weighted else None))
    # SciPy as the independent evaluation, on the homogeneous points.
    curve = BSpline(inner, np.column_stack([control * weights[:, None], weights]), degree)
    dense = curve(np.linspace(inner[degree], inner[count], 3000)[:-1])
    assert part.sheet is not None
    assert (
        made.furthest(dense[:, :2] / dense[:, 2:], made.drawn(part)[0].shapes) <= part.sheet.chord_tolerance_mm + 1e-6
    )


def test_rational_spline_makes_a_true_quarter_circle(tmp_path: Path) -> None:
    # L. Piegl and W. Tiller, The NURBS Book: weights 1, sqrt(1/2), 1 on the corner of a square.
    quarter = spline(2, [0, 0, 0, 1, 1, 1], np.array([[10, 0], [10, 10], [0, 10]]), [1, math.sqrt(0.5), 1])
    part = read(tmp_path, quarter)
    points = made.points_of(made.only(part))
    radii = np.hypot(*points.T)
    assert radii == pytest.approx(np.full(len(points), 10.0), abs=1e-9)


def test_spline_through_fit_points_passes_them(tmp_path: Path) -> None:
    fit = [(0, 0), (10, 5), (20, -3), (30, 0)]
    pairs: list[tuple[int, object]] = [(70, 8), (71, 3), (72, 0), (73, 0), (74, 4)]
    for x, y in fit:
        pairs += [(11, x), (21, y), (31, 0)]
    part = read(tmp_path, made.entity("SPLINE", *pairs))
    assert made.furthest(np.array(fit, float), made.drawn(part)[0].shapes) < 0.006


@pytest.mark.parametrize("tangents", [None, [(1, 2), (3, -1)]])
def test_spline_through_fit_points_is_that_of_ezdxf(tmp_path: Path, tangents: list[tuple[float, float]] | None) -> None:
    """ezdxf's `fit_points_to_cad_cv` follows what CAD programs draw through fit points."""
    from ezdxf.math import fit_points_to_cad_cv

    fit = [(0, 0), (10, 5), (20, -3), (30, 0), (31, 6)]
    pairs: list[tuple[int, object]] = [(70, 8), (71, 3), (72, 0), (73, 0), (74, 5)]
    for x, y in fit:
        pairs += [(11, x), (21, y), (31, 0)]
    for code, t in zip((12, 13), tangents or (), strict=False):
        pairs += [(code, t[0]), (code + 10, t[1]), (code + 20, 0)]
    part = read(tmp_path, made.entity("SPLINE", *pairs))
    theirs = np.array([p.vec2 for p in fit_points_to_cad_cv(fit, tangents).approximate(2000)])
    assert made.furthest(theirs, made.drawn(part)[0].shapes) < 0.006


def test_needless_points_are_not_made(tmp_path: Path) -> None:
    # A 20 mm circle squeezed to an ellipse: sqrt(8 tolerance / radius) a step gives about 100 points.
    part = read(
        tmp_path, made.entity("ELLIPSE", (10, 0), (20, 0), (11, 10), (21, 0), (40, 0.5), (41, 0), (42, math.tau))
    )
    shape = made.only(part)
    assert isinstance(shape, Polyline)
    assert 80 < len(shape.points) < 120
    assert shape.points[0] == shape.points[-1]


def test_old_polyline_with_bulges_equals_the_new_one(tmp_path: Path) -> None:
    new = read(tmp_path, made.polyline([(0, 0), (10, 0, 0.5), (10, 10), (0, 10)]))
    corners = [(0, 0, 0), (10, 0, 0.5), (10, 10, 0), (0, 10, 0)]
    vertices = "".join(made.entity("VERTEX", (10, x), (20, y), (42, b)) for x, y, b in corners)
    old = read(tmp_path, made.entity("POLYLINE", (66, 1), (70, 1)) + vertices + made.entity("SEQEND"))
    assert made.drawn(old)[0].shapes == made.drawn(new)[0].shapes


def test_control_points_of_a_smoothed_polyline_are_not_on_it(tmp_path: Path) -> None:
    rows = [(0, 0, 16), (5, 50, 16), (0, 0, 8), (5, 25, 8), (10, 0, 8)]
    vertices = "".join(made.entity("VERTEX", (10, x), (20, y), (70, f)) for x, y, f in rows)
    part = read(tmp_path, made.entity("POLYLINE", (66, 1), (70, 4)) + vertices + made.entity("SEQEND"))
    assert made.only(part) == Polyline(((0, 0), (5, 25), (10, 0)))
