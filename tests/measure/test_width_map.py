"""Thickness and gap all over a part, in pieces of its faces: values in closed form, and pieces that fill the faces."""

from __future__ import annotations

import numpy as np
import pytest
from parts import bodies

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.width_map import WidthMap, map_widths

CAP = 4.0


def mapped(mesh: bodies.Mesh, order: np.ndarray | None = None) -> tuple[BodyMeasurements, WidthMap]:
    measured = BodyMeasurements(bodies.body(mesh))
    wanted = np.arange(len(measured.mesh)) if order is None else order
    return measured, map_widths(measured.mesh, measured.solids, wanted, CAP)


def pieces_of(corners: np.ndarray, codes: list[int]) -> list[np.ndarray]:
    """The whole pieces of one triangle, by the rule that the format describes; takes its codes off the list."""
    edge = codes.pop(0)
    if edge == 0:
        return [corners]
    a, b = edge - 1, edge % 3
    first, second = corners.copy(), corners.copy()
    first[b] = second[a] = (corners[a] + corners[b]) / 2
    return pieces_of(first, codes) + pieces_of(second, codes)


@pytest.mark.parametrize("thickness", [0.5, 2.0, 3.9])
def test_plate_has_its_thickness_on_both_large_faces_at_any_tilt(thickness: float) -> None:
    measured, found = mapped(bodies.turned(bodies.plate(thickness), 4))
    codes, wall = found.splits.tolist(), found.wall.tolist()
    for face, corners in enumerate(measured.mesh.vertices[measured.mesh.faces]):
        for _ in pieces_of(corners, codes):
            width = wall.pop(0)
            # The narrow sides are 30 and 40 mm from each other: nothing within the cap.
            assert width == (pytest.approx(thickness, abs=1e-4) if measured.mesh.areas[face] > 500 else np.inf)
    assert not codes and not wall
    assert np.isinf(found.gap).all()


def test_gap_between_two_boxes_is_seen_from_both_and_is_no_wall() -> None:
    _, found = mapped(bodies.two_boxes(0.7))
    near = found.gap[np.isfinite(found.gap)]
    assert len(near)
    # Balls from the rims bulge out past the edge a little; none is narrower than the gap.
    assert near.min() == pytest.approx(0.7, abs=1e-4)
    assert np.median(near) == pytest.approx(0.7, abs=1e-4)
    assert np.isinf(found.wall).all()


def test_pieces_fill_each_face_in_the_order_asked_for() -> None:
    order = np.random.default_rng(7).permutation(12)
    measured, found = mapped(bodies.box((9.0, 5.0, 3.0)), order)
    codes = found.splits.tolist()
    for face in order:
        made = np.array(pieces_of(measured.mesh.vertices[measured.mesh.faces[face]], codes))
        cross = np.cross(made[:, 1] - made[:, 0], made[:, 2] - made[:, 0])
        assert np.linalg.norm(cross, axis=1).sum() / 2 == pytest.approx(measured.mesh.areas[face])
        # Wound as the face is, and none longer than said.
        assert (cross @ measured.mesh.normals[face] > 0).all()
        edges = np.linalg.norm(made - np.roll(made, 1, axis=1), axis=2)
        assert edges.max() <= 4 * found.longest_mm
    assert not codes


def test_fine_sphere_is_taken_in_cells_and_is_as_thick_as_it_is_wide() -> None:
    measured, found = mapped(bodies.sphere(1.5, 5))
    assert len(found.wall) == len(measured.mesh)
    assert np.isfinite(found.wall).all()
    assert found.wall.min() > 3.0 * 0.99
    assert found.wall.max() < 3.0 * 1.01


def test_needles_and_large_parts_stay_within_the_most_pieces() -> None:
    needles = bodies.box((900.0, 700.0, 0.02), cells=(1, 60, 1))
    measured, found = mapped(needles)
    assert len(found.wall) <= 300_000 + len(measured.mesh)
    assert found.longest_mm > 0.8
    assert found.wall.min() == pytest.approx(0.02, abs=1e-4)


def test_nothing_at_all_has_no_pieces() -> None:
    empty = (np.empty((0, 3)), np.empty((0, 3), np.int32))
    _, found = mapped(empty)
    assert len(found.splits) == len(found.wall) == len(found.gap) == 0
