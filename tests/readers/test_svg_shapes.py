"""SVG paths and basic shapes: round ones stay round, others lie within the tolerance; svgelements as second opinion."""

from __future__ import annotations

import math
from itertools import pairwise
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
# The page is 100 mm high and one user unit is a millimetre: y in the model is 100 − y in the file.
PAGE = 100.0


def read(folder: Path, body: str) -> Part:
    return read_bytes(folder, made.svg(body))


def test_circle_keeps_its_radius_and_y_runs_up(tmp_path: Path) -> None:
    assert made.only(read(tmp_path, "<circle cx='10' cy='20' r='5'/>")) == Circle((10, 80), 5)


@pytest.mark.parametrize(
    ("transform", "circle"),
    [
        ("translate(3 4)", Circle((13, 76), 5)), ("scale(2)", Circle((20, 60), 10)),
        ("rotate(90)", Circle((-20, 90), 5)),
        ("scale(-1 1)", Circle((-10, 80), 5)), ("matrix(0 2 -2 0 50 50)", Circle((10, 30), 10)),
        ("rotate(180 10 20)", Circle((10, 80), 5)), ("translate(1,1) scale(2)", Circle((21, 59), 10)),
    ],
)  # fmt: skip
def test_circle_stays_round_under_similarity(tmp_path: Path, transform: str, circle: Circle) -> None:
    shape = made.only(read(tmp_path, f"<circle cx='10' cy='20' r='5' transform='{transform}'/>"))
    assert isinstance(shape, Circle)
    assert shape.centre == pytest.approx(circle.centre)
    assert shape.radius_mm == pytest.approx(circle.radius_mm)


def test_circle_under_uneven_scale_is_flattened_within_the_tolerance(tmp_path: Path) -> None:
    shape = made.only(read(tmp_path, "<circle cx='10' cy='20' r='5' transform='scale(4 1)'/>"))
    angle = np.linspace(0, math.tau, 3000)
    true = np.column_stack([40 + 20 * np.cos(angle), 80 + 5 * np.sin(angle)])
    assert isinstance(shape, Polyline)
    assert made.furthest(true, [shape]) <= 0.005 + 1e-9


def test_ellipse_made_round_by_its_transform_is_a_circle(tmp_path: Path) -> None:
    shape = made.only(read(tmp_path, "<ellipse rx='2' ry='4' transform='translate(50 50) scale(2 1)'/>"))
    assert shape == Circle((50, 50), 4)


def test_rounded_rectangle_has_four_true_corners(tmp_path: Path) -> None:
    (entity,) = made.drawn(read(tmp_path, "<rect x='10' y='10' width='40' height='20' rx='3'/>"))
    arcs = [s for s in entity.shapes if isinstance(s, Arc)]
    assert [a.radius_mm for a in arcs] == pytest.approx([3] * 4)
    assert [a.end_deg - a.start_deg for a in arcs] == pytest.approx([90] * 4)
    assert {(round(a.centre[0]), round(a.centre[1])) for a in arcs} == {(13, 87), (47, 87), (13, 73), (47, 73)}
    assert sum(isinstance(s, Line) for s in entity.shapes) == 4


def test_radius_of_a_rectangle_is_at_most_half_its_side(tmp_path: Path) -> None:
    (entity,) = made.drawn(read(tmp_path, "<rect width='40' height='20' rx='90'/>"))
    # rx 20 and ry 10: quarter ellipses.
    assert made.outline(entity.shapes).bounds == pytest.approx((0, 80, 40, 100))


def test_arc_of_a_path_is_true(tmp_path: Path) -> None:
    # From (10, 50) through half a turn to (30, 50), on the side of smaller y: up in the model.
    arc = made.only(read(tmp_path, "<path d='M10 50A10 10 0 0 1 30 50'/>"))
    assert isinstance(arc, Arc)
    assert arc.centre == pytest.approx((20, 50))
    assert made.points_of(arc)[180] == pytest.approx((20, 60))


def test_flags_of_arcs_may_stand_close(tmp_path: Path) -> None:
    far = made.drawn(read(tmp_path, "<path d='M10 50a10 10 0 0 1 20 0'/>"))
    close = made.drawn(read(tmp_path, "<path d='M10 50a10 10 0 0120 0'/>"))
    assert far[0].shapes == close[0].shapes


def test_radii_too_small_are_enlarged(tmp_path: Path) -> None:
    arc = made.only(read(tmp_path, "<path d='M10 50A1 1 0 0 1 30 50'/>"))
    assert isinstance(arc, Arc)
    assert arc.radius_mm == pytest.approx(10)


def test_two_subpaths_are_two_entities(tmp_path: Path) -> None:
    part = read(tmp_path, "<path id='p' d='M0 0H9V9zm20 0h9v9z'/>")
    assert [x.handle for x in made.drawn(part)] == ["p:1", "p:2"]
    # After z the pen stands where the subpath began: the second begins at (20, 0).
    assert made.points_of(made.drawn(part)[1].shapes[0])[0] == pytest.approx((20, 100))
    assert all(s.shapes[0].points[0] == s.shapes[0].points[-1] for s in made.drawn(part))  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("data", "points"),
    [
        ("M1 2L3 4 5 6", [(1, 2), (3, 4), (5, 6)]), ("M1,2 3,4,5,6", [(1, 2), (3, 4), (5, 6)]),
        ("m1 2 2 2 2 2", [(1, 2), (3, 4), (5, 6)]), ("M1-2L.5.5", [(1, -2), (0.5, 0.5)]),
        ("M1e1 2E+0l-1e-1 0", [(10, 2), (9.9, 2)]), ("M0 0H5V5h-5z", [(0, 0), (5, 0), (5, 5), (0, 5), (0, 0)]),
        ("M1 2 L3 4 X 9 9", [(1, 2), (3, 4)]), ("M1 2 L3 4 5", [(1, 2), (3, 4)]),
        ("M1 2 L3 4 L1e999 0", [(1, 2), (3, 4)]),
    ],
)  # fmt: skip
def test_straight_paths(tmp_path: Path, data: str, points: list[tuple[float, float]]) -> None:
    shape = made.only(read(tmp_path, f"<path d='{data}'/>"))
    np.testing.assert_allclose(made.points_of(shape), [(x, PAGE - y) for x, y in points])


def test_smooth_curve_after_one_of_another_degree_mirrors_nothing(tmp_path: Path) -> None:
    # SVG 2, section 9.3.6: the first control point is then the current point.
    smooth = made.drawn(read(tmp_path, "<path d='M0 0Q5 9 9 0S20 5 20 0'/>"))[0].shapes
    plain = made.drawn(read(tmp_path, "<path d='M0 0Q5 9 9 0C9 0 20 5 20 0'/>"))[0].shapes
    assert smooth == plain


def test_damaged_path_is_drawn_up_to_its_error_and_said(tmp_path: Path) -> None:
    part = read(tmp_path, "<path d='M0 0L9 9 Q'/>")
    assert "damaged" in made.notes(part, "recovered")[0]


pairs = st.tuples(st.integers(-40, 40), st.integers(-40, 40)).map(lambda p: f"{p[0]} {p[1]}")
segments = st.one_of(
    st.tuples(st.sampled_from("LlTt"), pairs).map("".join),
    st.tuples(st.sampled_from("HhVv"), st.integers(-40, 40).map(str)).map("".join),
    st.tuples(st.sampled_from("QqSs"), pairs, pairs).map(lambda p: f"{p[0]}{p[1]} {p[2]}"),
    st.tuples(st.sampled_from("Cc"), pairs, pairs, pairs).map(lambda p: f"{p[0]}{p[1]} {p[2]} {p[3]}"),
    st.tuples(
        st.sampled_from("Aa"), st.integers(1, 30), st.integers(1, 30), st.integers(0, 90),
        st.sampled_from(["0 0", "01", "1,0", "11"]), pairs,
    ).map(lambda p: f"{p[0]}{p[1]} {p[2]} {p[3]} {p[4]} {p[5]}"),
)  # fmt: skip
transforms = st.sampled_from(
    ["", "rotate(20) scale(1.5)", "matrix(1 .2 -.4 2 3 4)", "translate(5) rotate(45 3 4)", "skewX(30)"]
)


@quick
@given(steps=st.lists(segments, min_size=1, max_size=5), transform=transforms, closed=st.booleans())
def test_paths_lie_where_svgelements_puts_them(tmp_path: Path, steps: list[str], transform: str, closed: bool) -> None:
    from svgelements import Matrix
    from svgelements import Path as OtherPath

    letters = "".join(step[0].upper() for step in steps)
    if any(pair in letters for pair in ("QS", "TS", "CT", "ST")):
        # svgelements mirrors the control point of a curve of the other degree; SVG 2 (9.3.6, 9.3.7) does not.
        return
    data = f"M3 4{''.join(steps)}{'z' if closed else ''}"
    other, matrix = OtherPath(data), Matrix(transform)
    if not other.length(error=1e-3):
        return
    part = read(tmp_path, f"<rect width='1' height='1'/><path d='{data}' transform='{transform}'/>")
    shapes = [s for e in made.drawn(part)[1:] for s in e.shapes]
    theirs = []
    for segment in other:
        if type(segment).__name__ != "Move" and segment.end is not None:
            for t in np.linspace(0, 1, 40):
                # Points are moved, not the path: svgelements loses ellipses under a skew.
                p = matrix.point_in_matrix_space(segment.point(t))
                theirs.append((p.x, PAGE - p.y))
    assert made.furthest(np.array(theirs), shapes) < 0.02
    ours = np.concatenate([made.points_of(s, 40) for s in shapes])
    dense = [Polyline(tuple(theirs))]
    assert made.furthest(ours, dense) < 0.6


@quick
@given(
    control=st.lists(st.tuples(*[st.integers(-80_000, 80_000).map(lambda x: x / 1000)] * 2), min_size=3, max_size=4),
)
def test_bezier_curves_lie_within_the_tolerance(tmp_path: Path, control: list[tuple[float, float]]) -> None:
    letter = "Q" if len(control) == 3 else "C"
    data = f"M{control[0][0]!r} {control[0][1]!r}{letter}" + " ".join(f"{x!r} {y!r}" for x, y in control[1:])
    if len(set(control)) == 1:
        return
    part = read(tmp_path, f"<rect width='1' height='1'/><path d='{data}'/>")
    t = np.linspace(0, 1, 2000)[:, None]
    points = [np.array(p) for p in control]
    true = [p * np.ones_like(t) for p in points]
    while len(true) > 1:
        true = [(1 - t) * a + t * b for a, b in pairwise(true)]
    flipped = np.column_stack([true[0][:, 0], PAGE - true[0][:, 1]])
    shapes = [s for e in made.drawn(part)[1:] for s in e.shapes]
    assert part.sheet is not None
    if shapes:
        assert made.furthest(flipped, shapes) <= part.sheet.chord_tolerance_mm + 1e-9
