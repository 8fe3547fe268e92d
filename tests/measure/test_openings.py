"""Holes that are not round: by the largest circle in their outline, through or blind, however the part is written."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import Manifold
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.openings import Opening


def openings(part: Manifold | bodies.Mesh) -> list[Opening]:
    return BodyMeasurements(bodies.body(mesh_of(part) if isinstance(part, Manifold) else part)).openings


def plate_with(cut: Manifold, thick: float = 1.0) -> Manifold:
    return block(12, 12, thick) - cut.translate([2, 1, -1])


@pytest.mark.parametrize("thick", [0.8, 2.0, 5.0])
@pytest.mark.parametrize(("sides", "long"), [((0.6, 0.6), False), ((0.6, 1.1), False), ((0.4, 1.1), True)])
def test_hole_of_four_corners(sides: tuple[float, float], long: bool, thick: float) -> None:
    (hole,) = openings(plate_with(block(*sides, thick + 2), thick))
    assert hole.diameter_mm == pytest.approx(sides[0], rel=1e-3)
    assert hole.length_mm == pytest.approx(sides[1], rel=1e-3)
    assert hole.depth_mm == pytest.approx(thick, rel=1e-3)
    assert (hole.through, hole.long) == (True, long)
    point = hole.where().point
    assert np.abs(np.array(point) - [2, 1, thick / 2]).max() < 0.4


@pytest.mark.parametrize("corners", [3, 4, 5, 6])
def test_hole_with_even_corners_is_as_wide_as_the_circle_within(corners: int) -> None:
    (hole,) = openings(plate_with(cylinder(0.9, 4, corners)))
    assert hole.diameter_mm == pytest.approx(0.9 * np.cos(np.pi / corners), rel=1e-3)


def test_round_hole_is_a_bore_and_a_wide_one_none_of_the_small() -> None:
    assert openings(plate_with(cylinder(0.8, 4, 24))) == []
    assert openings(plate_with(block(3.2, 3.2, 4))) == []


def test_ring_cut_round_an_island_is_a_mark_and_no_hole() -> None:
    """As the 0 in a sunk number: within its outline stands material up to the face."""
    ring = block(1.8, 2.4, 1) - block(1.2, 1.8, 1)
    assert openings(block(12, 12, 4) - ring.translate([2, 1, 3.8])) == []


@pytest.mark.parametrize(("deep", "count"), [(0.5, 0), (0.7, 1), (2.0, 1)])
def test_blind_hole_counts_where_it_is_deeper_than_wide(deep: float, count: int) -> None:
    found = openings(block(12, 12, 4) - block(0.6, 0.6, 2).translate([1, 1, 4 - deep]))
    assert [x.through for x in found] == [False] * count
    assert [x.depth_mm for x in found] == pytest.approx([deep] * count, rel=1e-3)


def test_post_and_outer_outline_are_no_openings() -> None:
    assert openings(block(2, 2, 1) + block(0.6, 0.6, 3)) == []
    assert openings(block(2, 2, 1)) == []


@pytest.mark.parametrize("change", ["turned", "shuffled", "split", "far"])
def test_the_same_however_it_is_written(change: str) -> None:
    mesh = mesh_of(plate_with(block(0.6, 1.0, 4)) - block(0.5, 0.5, 4).translate([-3, -2, -1]))
    other = {
        "turned": lambda: bodies.turned(mesh, 7),
        "shuffled": lambda: bodies.shuffled(mesh, 7),
        "split": lambda: bodies.split(mesh),
        "far": lambda: bodies.moved(mesh, (300.0, -120.0, 40.0)),
    }[change]()
    assert [x.diameter_mm for x in openings(other)] == pytest.approx([0.5, 0.6], rel=1e-3)


def test_slot_through_the_facet_of_a_pipe_is_one() -> None:
    pipe = cylinder(40, 50, 128) - cylinder(32, 52, 128).translate([0, 0, -1])
    (slot,) = openings(pipe - block(10, 0.3, 6).translate([18, 0.45, 22]))
    assert slot.diameter_mm == pytest.approx(0.3, rel=0.01)
