"""Faces wound the wrong way: an error of its own, and everything else is measured as it is meant."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements


def plate_with_everything() -> bodies.Mesh:
    """A thick plate with a thin wall, a slot, a narrow bore, a square hole, a thin pin and a closed void."""
    part = block(40, 30, 12) + block(0.6, 20, 8).translate([-15, 0, 12]) + cylinder(0.8, 8, 32).translate([10, 10, 11])
    part -= block(0.9, 0.9, 14).translate([-14, -12, -1])
    part -= block(0.4, 12, 6).translate([-8, 0, 7]) + cylinder(1.2, 14, 48).translate([12, -8, -1])
    return mesh_of(part - block(4, 4, 4).translate([4, 0, 4]))


def measured(mesh: bodies.Mesh) -> BodyMeasurements:
    return BodyMeasurements(bodies.body(mesh))


def told(body: BodyMeasurements) -> dict[str, Any]:
    return {
        "walls": [(round(x.width_mm, 3), x.round) for x in body.thin_places(1.0)],
        "gaps": [(round(x.width_mm, 3), x.round) for x in body.narrow_places(0.5)],
        "bores": [(round(x.diameter_mm, 3), x.through) for x in body.bores],
        "openings": [(round(x.diameter_mm, 3), x.through) for x in body.openings],
        "voids": [round(x.volume_mm3, 3) for x in body.voids],
        "bulk": [round(x.diameter_mm, 2) for x in body.thick_places(10.0)],
        "panels": sorted(round(x.thickness_mm, 3) for x in body.panels(3.0)),
        "volume": round(body.volume_mm3, 3),
    }


def test_what_is_measured_does_not_depend_on_how_faces_are_wound() -> None:
    vertices, faces = plate_with_everything()
    right = told(measured((vertices, faces)))
    assert right["walls"] and right["gaps"] and right["bores"] and right["openings"] and right["voids"] == [64.0]
    inverted = measured((vertices, faces[:, ::-1]))
    assert inverted.soundness.inside_out
    assert told(inverted) == right
    some = faces.copy()
    some[::5] = some[::5][:, ::-1]
    mixed = measured((vertices, some))
    assert mixed.soundness.flipped
    assert told(mixed) == right


@pytest.mark.parametrize("turned", [False, True])
def test_surface_with_a_small_hole_is_measured_as_the_solid_that_it_is_meant_to_be(turned: bool) -> None:
    vertices, faces = plate_with_everything()
    right = told(measured((vertices, faces)))
    # One face of a side goes, that nothing else is cut into.
    side = int(np.flatnonzero((vertices[faces][..., 1] == -15.0).all(axis=1))[0])
    body = measured((vertices, np.delete(faces, side, axis=0)[:, :: -1 if turned else 1]))
    assert len(body.soundness.open_edges) == 1
    assert [round(x.value) for x in body.soundness.inside_out] == ([round(right["volume"] + 64)] if turned else [])
    found = told(body)
    for name in ("walls", "gaps", "bores", "openings", "bulk"):
        assert found[name] == right[name]


def test_bodies_on_one_edge_face_each_its_own_way() -> None:
    one, other = bodies.box((10.0, 10.0, 10.0)), bodies.moved(bodies.box((10.0, 10.0, 10.0)), (10.0, 10.0, 0.0))
    body = measured(bodies.join(one, bodies.inward(other)))
    assert [round(x.value) for x in body.soundness.inside_out] == [1000]
    assert body.volume_mm3 == pytest.approx(2000)


@pytest.mark.parametrize("seed", range(3))
def test_inward_shell_that_reaches_out_of_a_body_is_no_void(seed: int) -> None:
    """Most of it lies within the other: whichever of its faces is asked, the answer is one."""
    bar = bodies.moved(bodies.box((8.0, 8.0, 18.0)), (0.0, 0.0, 3.0))
    body = measured(bodies.turned(bodies.join(bodies.box((20.0, 20.0, 20.0)), bodies.inward(bar)), seed))
    assert [round(x.value) for x in body.soundness.inside_out] == [8 * 8 * 18]
    assert body.voids == []


def test_voids_that_go_through_each_other_are_voids() -> None:
    one, other = bodies.box((8.0, 8.0, 8.0)), bodies.moved(bodies.box((8.0, 8.0, 8.0)), (3.0, 3.0, 3.0))
    body = measured(bodies.join(bodies.box((30.0, 30.0, 30.0)), bodies.inward(one), bodies.inward(other)))
    assert not body.soundness.inside_out
    assert [round(x.volume_mm3) for x in body.voids] == [512, 512]


@pytest.mark.parametrize("seed", range(4))
def test_void_as_high_as_its_solid_turns_nothing(seed: int) -> None:
    """Two walls of it lie in those of the solid: a point of these faces may lie in the void."""
    void = bodies.inward(bodies.moved(bodies.box((6.0, 4.0, 4.0)), (2.0, 3.0, 0.0)))
    mesh = bodies.shuffled(bodies.join(bodies.box((10.0, 12.0, 4.0)), void), seed)
    for vertices, faces in (mesh, (mesh[0] * [-1, 1, 1], mesh[1][:, ::-1])):
        assert not measured((vertices, faces)).soundness.turned.any()


@pytest.mark.parametrize("seed", range(4))
def test_bodies_on_one_grid_are_told_alike_in_any_order_of_faces(seed: int) -> None:
    """Corners and edges of one lie in faces of the other: no ray may start there."""
    one = bodies.moved(bodies.box((8.0, 6.0, 4.0)), (-2.0, -3.0, 8.0))
    vertices, faces = bodies.moved(bodies.box((6.0, 12.0, 6.0)), (-3.0, 2.0, 9.0))
    faces[seed] = faces[seed, ::-1]
    soundness = measured(bodies.shuffled(bodies.join(one, (vertices, faces)), seed)).soundness
    assert not soundness.inside_out
    assert [x.count for x in soundness.flipped] == [1]


@pytest.mark.parametrize("kept", [0, 4])
def test_bar_inside_out_is_a_pin_and_no_hole(kept: int) -> None:
    """All of its faces, or all but four, look inward."""
    vertices, faces = bodies.box((0.6, 0.6, 8.0))
    faces = np.concatenate([faces[:kept], faces[kept:, ::-1]])
    body = measured((vertices, faces))
    assert [(round(x.width_mm, 3), x.slender) for x in body.thin_places(1.0)] == [(0.6, True)]
    assert body.narrow_places(1.0) == []
    assert body.volume_mm3 == pytest.approx(0.6 * 0.6 * 8.0)
