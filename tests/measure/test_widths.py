"""Thickness and gap at every point of analytic bodies, against their formulas."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from parts import bodies

from lintsvc.measure.balls import INSIDE, OUTSIDE
from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.widths import Widths, measure_widths, usual_samples

CAP_MM = 4.0


def widths(mesh: bodies.Mesh, side: float = INSIDE) -> tuple[Widths, NDArray[np.float64]]:
    """Widths at the points, and the normals of their faces."""
    measured = BodyMeasurements(bodies.body(mesh))
    samples = usual_samples(measured.mesh)
    found = measure_widths(measured.mesh, samples, measured.creases, measured.solids, side, CAP_MM)
    # Points on creases are an extra; the formulas hold on faces.
    found = found.take(np.flatnonzero(found.area > 0))
    return found, measured.mesh.normals[found.face]


def worst(found: NDArray[np.float64], truth: NDArray[np.float64] | float) -> float:
    """Largest relative error."""
    assert len(found) > 50
    return float(np.abs(found / truth - 1).max())


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("cells", [1, 20])
def test_plate_is_exact_at_any_tilt(seed: int, cells: int) -> None:
    found, normals = widths(bodies.turned(bodies.plate(0.7, cells=cells), seed))
    large = bodies.rotation(seed)[:, 2]
    assert worst(found.width[np.abs(normals @ large) > 0.9], 0.7) < 1e-3


@pytest.mark.parametrize("cells", [1, 20])
def test_taper_follows_its_formula(cells: int) -> None:
    found, normals = widths(bodies.taper(0.6, 1.2, cells=cells))
    angle = np.arctan(0.6 / 40)
    start = 0.6 / np.tan(angle)
    on_foot, on_top = normals[:, 2] < -0.9, normals[:, 2] > 0.9
    along = np.where(on_foot, found.point[:, 0] + start, np.hypot(found.point[:, 0] + start, found.point[:, 2]))
    sides = on_foot | on_top
    # A ball that touches both planes at distance s from where they meet has the radius s tan(angle / 2).
    assert worst(found.width[sides], 2 * along[sides] * np.tan(angle / 2)) < 1e-3


@pytest.mark.parametrize("angle_deg", [5, 10, 20, 30, 45])
def test_wedge_follows_its_formula(angle_deg: float) -> None:
    found, normals = widths(bodies.wedge(angle_deg, cells=30))
    half = np.radians(angle_deg) / 2
    distance = np.hypot(found.point[:, 0], found.point[:, 2])
    radius = distance * np.tan(half)
    # Where the ball clears the ends and the back.
    clear = (np.abs(normals[:, 1]) < 0.5) & (normals[:, 0] < 0.9)
    clear &= (distance + radius < 20) & (np.abs(found.point[:, 1]) + radius < 10) & (2 * radius < CAP_MM * 0.99)
    assert worst(found.width[clear], 2 * radius[clear]) < 1e-3


def test_hollow_sphere_of_fine_facets() -> None:
    found, _ = widths(bodies.shell(10.0, 0.7, splits=4))
    assert worst(found.width, 0.7) < 2e-3


@pytest.mark.parametrize("turn", [0.0, 0.25, 0.5])
@pytest.mark.parametrize(("segments", "within"), [(24, 5e-3), (96, 2e-3), (200, 2e-3)])
def test_tube_whatever_its_facets_face(turn: float, segments: int, within: float) -> None:
    found, normals = widths(bodies.tube(8.0, 0.7, segments=segments, turn=turn))
    assert worst(found.width[np.abs(normals[:, 2]) < 0.5], 0.7) < within


@pytest.mark.parametrize("rows", [1, 12])
@pytest.mark.parametrize(("segments", "within"), [(12, 2.5e-2), (16, 2.5e-2), (32, 2.5e-2), (96, 5e-3)])
def test_rod_measures_its_diameter(segments: int, within: float, rows: int) -> None:
    found, normals = widths(bodies.rod(0.8, segments=segments, rows=rows))
    assert worst(found.width[np.abs(normals[:, 2]) < 0.5], 0.8) < within


@pytest.mark.parametrize("cells", [1, 10])
def test_gap_between_two_boxes(cells: int) -> None:
    found, normals = widths(bodies.two_boxes(0.4, cells=cells), OUTSIDE)
    facing = (np.abs(normals[:, 0]) > 0.9) & (np.abs(found.point[:, 0]) < 1)
    assert facing.sum() > 100
    assert worst(found.width[facing], 0.4) < 1e-3


def test_clearance_of_a_pin_in_a_bore() -> None:
    found, normals = widths(bodies.pin_in_bore(6.0, 0.3), OUTSIDE)
    radial = np.hypot(found.point[:, 0], found.point[:, 1]) < 3.5
    assert worst(found.width[radial & (np.abs(normals[:, 2]) < 0.5)], 0.3) < 2e-3


def test_chord_error_is_stated_for_coarse_facets_and_not_for_flats() -> None:
    coarse, _ = widths(bodies.rod(0.8, segments=12))
    fine, _ = widths(bodies.rod(0.8, segments=96))
    flat, _ = widths(bodies.plate(0.7))
    # The middle of a facet stays off the circle by R (1 - cos(pi / n)), at both ends.
    assert coarse.chord.max() == pytest.approx(2 * 0.4 * (1 - np.cos(np.pi / 12)), rel=0.25)
    assert fine.chord.max() == pytest.approx(2 * 0.4 * (1 - np.cos(np.pi / 96)), rel=0.25)
    assert flat.chord.max() == 0


def test_balls_agree_with_another_library_on_a_lump() -> None:
    """Largest tangent balls of trimesh, which counts every contact: ours does so too when it is told to."""
    from trimesh import Trimesh
    from trimesh.proximity import max_tangent_sphere

    from lintsvc.measure.balls import balls
    from lintsvc.measure.mesh import Mesh

    vertices, faces = bodies.sphere(10.0, 3)
    # A lump: three axes of different lengths, bent a little.
    vertices = vertices * [1.0, 0.7, 0.4] + np.sin(vertices[:, [1, 2, 0]] / 3)
    mesh = Mesh(vertices, faces)
    middles = vertices[faces].mean(axis=1)[::7]
    normals = mesh.normals[::7]
    ours = balls(mesh.bvh, middles, normals, 60.0, INSIDE, opposed=1.0).width / 2
    theirs = max_tangent_sphere(Trimesh(vertices, faces, process=False), middles, inwards=True, normals=normals)[1]
    assert np.median(np.abs(ours / theirs - 1)) < 1e-3
    # Theirs shrinks by sampled steps and may stop early; ours never holds a piece of the surface.
    assert (ours <= theirs * (1 + 1e-3)).mean() > 0.99


def test_parts_for_no_machine_are_looked_at_in_fewer_places() -> None:
    small, huge = (BodyMeasurements(bodies.body(bodies.box((x, x / 2, x / 2)))).mesh for x in (800.0, 1000.0))
    assert len(usual_samples(small).points) > 1_000_000
    assert 200_000 < len(usual_samples(huge).points) < 400_000
