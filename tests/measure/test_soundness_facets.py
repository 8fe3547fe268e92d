"""Chord deviation of facets against the geometry that they were made from, and what is no curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from parts.broken_bodies import Mesh as Broken
from parts.broken_bodies import box, cylinder, sphere

from lintsvc.measure.facets import SMOOTH_DEG, facets, heights
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.weld import weld


def deviations(body: Broken) -> tuple[np.ndarray, np.ndarray]:
    mesh = welded(body)
    found = facets(mesh, mesh.mates)
    curved = found.deviation_mm > 0
    return found.deviation_mm[curved], found.radius_mm[curved]


def welded(body: Broken) -> Mesh:
    first, place = weld(np.ascontiguousarray(body[0], float))
    return Mesh(body[0][first], place[body[1]])


@pytest.mark.parametrize("segments", [10, 11, 12, 16, 32, 96, 360])
@pytest.mark.parametrize("radius", [0.7, 10.0, 250.0])
def test_cylinder_deviates_by_its_sagitta(segments: int, radius: float) -> None:
    # r (1 - cos(pi / n)): the middle of a chord of a circle.
    found, radii = deviations(cylinder(radius, 3.0 * radius, segments))
    assert found == pytest.approx(radius * (1 - math.cos(math.pi / segments)), rel=1e-6)
    assert radii == pytest.approx(radius, rel=1e-6)
    assert len(found) == segments


@pytest.mark.parametrize("segments", [4, 5, 6, 8, 9])
def test_prism_with_few_sides_is_a_design(segments: int) -> None:
    assert 360.0 / segments > SMOOTH_DEG
    assert not len(deviations(cylinder(10.0, 20.0, segments))[0])


def test_box_has_no_curves() -> None:
    assert not len(deviations(box())[0])


@pytest.mark.parametrize("rings", [16, 32, 64])
def test_sphere_deviates_by_no_more_than_it_does(rings: int) -> None:
    body = sphere(10.0, rings, 2 * rings)
    mesh = welded(body)
    # Distance of each face's plane from the middle, against the radius: at most the face's own deviation.
    truth = 10.0 - np.einsum("ij,ij->i", mesh.normals, mesh.vertices[mesh.faces[:, 0]])
    found = facets(mesh, mesh.mates)
    mine = found.deviation_mm[found.label]
    assert (mine <= truth * 1.02 + 1e-9).all()
    assert mine.max() > 0.8 * truth.max()
    assert (mine > 0).mean() > 0.8


def fillet(radius: float, steps: int, flat: float = 50.0) -> Broken:
    """A block with one edge along y rounded in `steps` flats between two large sides."""
    angle = np.linspace(0.0, math.pi / 2, steps + 1)
    arc = np.stack([flat + radius * np.sin(angle), flat + radius * np.cos(angle)], axis=1)
    profile = np.concatenate([[[0.0, 0.0], [0.0, flat + radius]], arc, [[flat + radius, 0.0]]])
    # Without doubled corners, and counter-clockwise seen from -y.
    profile = profile[np.concatenate([[True], np.linalg.norm(np.diff(profile, axis=0), axis=1) > 1e-9])][::-1]
    n = len(profile)
    vertices = np.concatenate([np.insert(profile, 1, y, axis=1) for y in (0.0, 30.0)])
    i = np.arange(n)
    k = (i + 1) % n
    walls = np.concatenate([np.stack([i, i + n, k], 1), np.stack([k, i + n, k + n], 1)])
    fan = np.arange(1, n - 1)
    caps = np.concatenate([np.stack([0 * fan, fan, fan + 1], 1), np.stack([0 * fan + n, fan + n + 1, fan + n], 1)])
    return vertices, np.concatenate([walls, caps])


@pytest.mark.parametrize("steps", [4, 6, 12])
def test_fillet_is_measured_and_the_flats_beside_it_are_not(steps: int) -> None:
    # The flats go over into the fillet without an edge and turn as little as its own steps do.
    found, radii = deviations(fillet(5.0, steps))
    assert found == pytest.approx(5.0 * (1 - math.cos(math.pi / 4 / steps)), rel=1e-6)
    assert radii == pytest.approx(5.0, rel=1e-6)
    assert 1 <= len(found) <= steps


def test_chamfer_is_no_curve() -> None:
    for steps in (1, 2):
        assert not len(deviations(fillet(5.0, steps))[0])


def test_height_is_twice_the_area_over_the_longest_side() -> None:
    corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 3, 0], [1, 0, 0], [0, 0, 0]])
    mesh = Mesh(corners, np.array([[0, 1, 2], [0, 3, 1], [0, 4, 1]]))
    assert heights(mesh) == pytest.approx([12 / 5, 0, 0])
