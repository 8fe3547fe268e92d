"""The same body moved, turned, in other units or with its faces shuffled has the same defects."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts.broken_bodies import Mesh, box, doubled, fin, flip, join, lapping_ring, moved, sphere, turn_over, without

from lintsvc.measure.mesh import Mesh as Measured
from lintsvc.measure.soundness import Soundness
from lintsvc.measure.weld import weld

#: A bit of everything, far enough apart that nothing belongs to anything else.
BROKEN = join(
    without(sphere(10.0, 10, 16), 5, 60),
    moved(flip(sphere(8.0), 30, 31), x=30),
    moved(turn_over(box(7, 8, 9)), x=60),
    moved(fin(box(), 0, 1, (-5, -4, 3)), x=90),
    moved(doubled(box(11, 12, 13), 2, 8), x=120),
    moved(lapping_ring(0.4), x=150),
    moved(join(box(10, 10, 10), box(10, 5, 5, at=(9.7, 2, 2))), x=190),
    moved(box(1, 1.2, 1), x=220),
)
SCALED = ("open_edges", "crossings", "overlaps")
COUNTED = ("non_manifold_edges", "doubles", "degenerate", "pinched")


def measure(body: Mesh) -> Soundness:
    first, place = weld(body[0])
    largest = float(np.abs(body[0]).max())
    return Soundness(Measured(body[0][first], place[body[1]], largest * 2.0**-50))


def listed(soundness: Soundness, name: str) -> list[float]:
    value = getattr(soundness, name)
    return [x.value for x in (value() if callable(value) else value)]


def check(body: Mesh, scale: float = 1.0) -> Soundness:
    """Compare all defects of a copy of BROKEN with those of BROKEN itself."""
    was, now = measure(BROKEN), measure(body)
    for name in SCALED:
        assert listed(now, name) == pytest.approx([x * scale for x in listed(was, name)], rel=1e-6), name
    for name in COUNTED:
        assert listed(now, name) == listed(was, name), name
    assert listed(now, "flipped") == pytest.approx([x * scale**2 for x in listed(was, "flipped")])
    assert listed(now, "inside_out") == pytest.approx([x * scale**3 for x in listed(was, "inside_out")])
    assert [x.value for x in now.fragments(2.0 * scale)] == pytest.approx([x.value * scale for x in was.fragments(2.0)])
    coarse = [x.value for x in was.coarse(0.1)]
    assert [x.value for x in now.coarse(0.1 * scale)] == pytest.approx([x * scale for x in coarse], rel=1e-6)
    assert len(coarse) > 1
    return now


def rotation(seed: int) -> np.ndarray:
    turned, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return turned * np.sign(np.linalg.det(turned))


def test_the_body_has_a_bit_of_everything() -> None:
    was = measure(BROKEN)
    for name in (*SCALED, "non_manifold_edges", "doubles", "flipped", "inside_out"):
        assert listed(was, name), name
    assert was.fragments(2.0)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31))
def test_shuffled_faces_have_the_same_defects(seed: int) -> None:
    random = np.random.default_rng(seed)
    order = random.permutation(len(BROKEN[1]))
    shifts = random.integers(0, 3, len(order))
    faces = np.stack([np.roll(f, s) for f, s in zip(BROKEN[1][order], shifts, strict=True)])
    now, was = check((BROKEN[0], faces)), measure(BROKEN)
    # The places are the same, and face numbers name the same faces.
    for a, b in zip(now.open_edges, was.open_edges, strict=True):
        assert a.where.point == pytest.approx(b.where.point)
        assert sorted(order[list(a.where.faces)]) == sorted(b.where.faces)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.floats(-500, 500), st.floats(-500, 500))
def test_moved_and_turned_copy_has_the_same_defects(seed: int, x: float, y: float) -> None:
    check((BROKEN[0] @ rotation(seed).T + [x, y, 3.0], BROKEN[1]))


def test_copy_in_inches_has_the_same_defects() -> None:
    check((BROKEN[0] / 25.4, BROKEN[1]), 1 / 25.4)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31))
def test_mirrored_copy_is_inside_out_where_it_was_not(seed: int) -> None:
    ball = sphere(5.0)
    mirrored = (ball[0] @ rotation(seed).T) * [1, 1, -1], ball[1]
    assert [x.value for x in measure(mirrored).inside_out] == pytest.approx([measure(ball).shells.volume[0]])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 40))
def test_outward_is_found_whichever_faces_are_turned(seed: int, count: int) -> None:
    ball = sphere(5.0)
    turned = np.random.default_rng(seed).choice(len(ball[1]), count, replace=False)
    soundness = measure(flip(ball, *turned.tolist()))
    assert np.flatnonzero(soundness.shells.against).tolist() == sorted(turned.tolist())
    assert soundness.inside_out == ()
