"""Surfaces that cross themselves, and heaps of bodies: no wall, gap or edge is made up there, and it is said."""

from __future__ import annotations

import numpy as np
import pytest
from parts import bodies

from lintsvc.measure.bodies import MUDDLED, BodyMeasurements
from lintsvc.model.part import NotMeasurable


def crossed_plate(thickness: float, tilt_deg: float) -> bodies.Mesh:
    """A plate and a fin that goes through it aslant, as one shell: a sliver of a bridge joins them far off."""
    plate = bodies.box((40.0, 30.0, thickness), (8, 6, 1))
    fin = bodies.box((12.0, 3.0, 10.0), (4, 1, 4))
    turn = np.radians(90.0 - tilt_deg)
    way = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    return bodies.join(plate, (fin[0] @ way.T, fin[1]))


def measured(mesh: bodies.Mesh) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(mesh))


@pytest.mark.parametrize("tilt_deg", [12.0, 25.0, 90.0])
def test_body_that_goes_through_another_makes_no_wall_of_its_own(tilt_deg: float) -> None:
    assert [x.width_mm for x in measured(crossed_plate(3.0, tilt_deg)).thin_places(0.8)] == []


@pytest.mark.parametrize("tilt_deg", [12.0, 25.0, 90.0])
def test_wall_that_is_thin_beside_the_crossing_is_found_at_its_own_width(tilt_deg: float) -> None:
    found = measured(crossed_plate(0.6, tilt_deg)).thin_places(0.8)
    assert [round(x.width_mm, 3) for x in found] == [0.6]


def pleated(depth: float) -> bodies.Mesh:
    """A long block whose upper side is drawn through its lower side in the middle: one shell that crosses itself."""
    vertices, faces = bodies.box((60.0, 60.0, 4.0), (60, 60, 1))
    dip = depth * np.exp(-((vertices[:, 0] / 10.0) ** 2 + (vertices[:, 1] / 10.0) ** 2))
    top = vertices[:, 2] > 0
    vertices = vertices.copy()
    vertices[top, 2] -= dip[top]
    return vertices, faces


def test_surface_pushed_through_its_other_side_is_said_once_and_is_no_wall_of_nothing() -> None:
    body = measured(pleated(4.4))
    assert len(body.soundness.crossings()) >= 1
    found = body.thin_places(0.8)
    assert [x.width_mm for x in found if not x.slight(0.8) and x.width_mm < 0.1] == []
    assert found.crossed >= 1


def test_surface_that_only_comes_near_its_other_side_is_a_thin_wall() -> None:
    (found,) = measured(pleated(3.5)).thin_places(0.8)
    assert found.width_mm == pytest.approx(0.5, rel=0.02)


def heap(count: int) -> bodies.Mesh:
    """Boxes in one place, each turned another way."""
    cube = bodies.box((20.0, 20.0, 20.0))
    return bodies.join(*((cube[0] @ bodies.rotation(i).T, cube[1]) for i in range(count)))


@pytest.mark.parametrize(
    "mesh", [heap(30), bodies.join(*[bodies.box((20.0, 20.0, 20.0 + k)) for k in range(30)])], ids=["turned", "nested"]
)
def test_in_a_heap_of_bodies_nothing_is_measured_and_that_is_said(mesh: bodies.Mesh) -> None:
    body = measured(mesh)
    for ask in (
        lambda: body.thin_places(0.8),
        lambda: body.narrow_places(0.5),
        lambda: body.knife_edges(0.8),
        lambda: body.thick_places(10.0),
        lambda: body.panels(3.0),
        lambda: body.details(0.5),
        lambda: body.hollows(3.5, 100.0),
    ):
        with pytest.raises(NotMeasurable, match="a third of the faces"):
            ask()
    assert "third" in MUDDLED


def test_many_bodies_side_by_side_are_measured() -> None:
    plates = [bodies.moved(bodies.plate(0.7, (10.0, 8.0)), (0.0, 0.0, 5.0 * i)) for i in range(30)]
    assert len(measured(bodies.join(*plates)).thin_places(0.8)) == 30
