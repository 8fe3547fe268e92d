"""Whatever the outline and wherever the bends: a closed body, or NotFolded."""

from __future__ import annotations

import math

import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from lintsvc.measure.fold import fold
from lintsvc.measure.fold_collide import collisions
from lintsvc.measure.fold_zones import NotFolded
from lintsvc.model.sheet import Bend

points = st.tuples(st.floats(-60, 60), st.floats(-60, 60))


@st.composite
def outlines(draw: st.DrawFn) -> Polygon:
    """A star-shaped outline with corners where chance puts them, and some holes."""
    count = draw(st.integers(3, 14))
    reach = draw(st.lists(st.floats(15, 80), min_size=count, max_size=count))
    snap = draw(st.sampled_from([0, 1, 5]))
    corners = []
    for i, r in enumerate(reach):
        angle = math.tau * i / count
        x, y = r * math.cos(angle), r * math.sin(angle)
        corners.append((round(x / snap) * snap, round(y / snap) * snap) if snap else (x, y))
    outline = Polygon(corners).buffer(0)
    for x, y in draw(st.lists(points, max_size=4)):
        hole = Point(x, y).buffer(draw(st.floats(0.5, 9)), quad_segs=draw(st.sampled_from([1, 4, 16])))
        outline = outline.difference(hole)
    if draw(st.booleans()):
        outline = outline.intersection(box(-70, -40, 70, 40))
    return max(getattr(outline, "geoms", [outline]), key=lambda p: p.area)


@st.composite
def bends(draw: st.DrawFn) -> Bend:
    """A long line through the part, so that it crosses it somewhere."""
    x, y = draw(points)
    angle = math.radians(draw(st.sampled_from([0, 90, 45, 13.7, 90.000001])))
    c, s = 200 * math.cos(angle), 200 * math.sin(angle)
    return Bend(
        (x - c, y - s),
        (x + c, y + s),
        draw(st.sampled_from([15.0, 45.0, 90.0, 135.0, 180.0])),
        draw(st.sampled_from(["up", "down"])),
        draw(st.sampled_from([0.5, 2.0, 6.0])),
        0.44,
    )


@given(outline=outlines(), lines=st.lists(bends(), min_size=1, max_size=4), part=st.floats(0, 1))
@settings(max_examples=150, deadline=None)
def test_any_flat_folds_into_a_closed_body_or_says_why(outline: Polygon, lines: list[Bend], part: float) -> None:
    try:
        folded = fold(outline, lines, 2.0)
    except NotFolded as error:
        assert error.why
        return
    for body in (folded, folded.posed(dict.fromkeys(range(len(lines)), part))):
        mesh = trimesh.Trimesh(body.vertices, body.faces, process=False)
        assert np.isfinite(body.vertices).all()
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0
    assert sum(p.area for p in folded.panels) + sum(z.area.area for z in folded.zones) <= outline.area * 1.0001
    collisions(folded)
