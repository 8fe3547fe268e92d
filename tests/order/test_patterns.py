"""Hole patterns: the true pose is found, symmetric twins are listed, patterns that do not meet are said not to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lintsvc.order.patterns import match_patterns


def turned(
    points: np.ndarray, angle: float, shift: tuple[float, float], mirrored: bool
) -> tuple[np.ndarray, np.ndarray]:
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    if mirrored:
        turn = turn @ np.diag([1.0, -1.0])
    return points @ turn.T + shift, turn


@settings(deadline=None, max_examples=40)
@given(
    st.integers(0, 10_000),
    st.floats(-3.1, 3.1),
    st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    st.booleans(),
    st.integers(4, 30),
)
def test_a_moved_pattern_is_found_whole(
    seed: int, angle: float, shift: tuple[float, float], mirrored: bool, n: int
) -> None:
    random = np.random.default_rng(seed)
    points = random.uniform(0, 200, (n, 2))
    sizes = random.choice([3.4, 4.5, 5.5], n)
    other, turn = turned(points, angle, shift, mirrored)
    shuffle = random.permutation(n)
    meeting = match_patterns(points, other[shuffle], sizes, sizes[shuffle])
    assert meeting.count == n
    assert any(np.allclose(x.turn, turn, atol=1e-6) and x.mirrored == mirrored for x in meeting.poses)
    assert meeting.poses[0].off_mm.max() < 1e-6


def test_half_of_a_pattern_among_other_holes_is_found() -> None:
    random = np.random.default_rng(4)
    points, sizes = random.uniform(0, 300, (40, 2)), np.full(40, 4.0)
    other, turn = turned(points[:24], 1.0, (50.0, -20.0), False)
    other = np.vstack([other, random.uniform(-200, 300, (16, 2))])
    meeting = match_patterns(points, other, sizes, np.full(40, 4.0))
    assert meeting.count >= 24
    assert np.allclose(meeting.poses[0].turn, turn, atol=1e-6)


@pytest.mark.parametrize(("points", "poses"), [
    # A rectangle meets itself four ways with mirroring, a square eight, an equilateral triangle six (dihedral groups).
    ([[0, 0], [80, 0], [80, 50], [0, 50]], 4),
    ([[0, 0], [50, 0], [50, 50], [0, 50]], 8),
    ([[0, 0], [50, 0], [25, 25 * 3**0.5]], 6),
])  # fmt: skip
def test_all_symmetric_poses_are_listed(points: list[list[float]], poses: int) -> None:
    array = np.array(points, float)
    meeting = match_patterns(array, array + 7.0, np.full(len(array), 5.0), np.full(len(array), 5.0))
    assert meeting.count == len(array)
    assert len(meeting.poses) == poses


def test_holes_of_other_sizes_do_not_meet() -> None:
    points = np.array([[0, 0], [80, 0], [80, 50.0]])
    assert match_patterns(points, points, np.full(3, 4.0), np.full(3, 5.0)).count == 0
    assert match_patterns(points, points, np.full(3, 4.0), np.full(3, 5.0), size_pairs_match=False).count == 3


def test_a_hole_1_mm_off_does_not_meet() -> None:
    points = np.array([[0, 0], [80, 0], [80, 50.0], [13, 50.0]])
    other = points.copy()
    other[3] += (1.0, 0.0)
    assert match_patterns(points, other).count == 3


def test_a_shifted_grid_has_a_close_runner_up() -> None:
    grid = np.stack(np.meshgrid(np.arange(10) * 10.0, np.arange(8) * 10.0), -1).reshape(-1, 2)
    meeting = match_patterns(grid, grid)
    assert meeting.count == 80
    assert meeting.runner_up >= 70


def test_one_hole_gives_no_pose() -> None:
    assert match_patterns(np.zeros((1, 2)), np.zeros((1, 2))).poses == ()
