"""Compile the kernels ahead of the first check."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.edges import mates, shells
from lintsvc.measure.width_map import map_widths
from lintsvc.model.body import Body


def warm(part: tuple[np.ndarray, np.ndarray] | None = None) -> None:
    """Run every kernel for bodies once, as a file in single and one in double precision need them.

    What is compiled is kept on disk (see `measure.compiled`), so the second run takes a moment.
    `part` is what `example_part` gives, for a process that must not make it itself.
    """
    vertices, faces = part if part is not None else example_part()
    corners = vertices[faces].reshape(-1, 3).astype(np.float32)
    numbers = np.arange(len(corners), dtype=np.int32).reshape(-1, 3)
    objects, _ = shells(mates(faces, len(vertices)))
    for body in (
        Body(corners, numbers, single_precision=True),
        Body(vertices, faces),
        Body(vertices, faces, objects, ("one", "two", "three", "four")),
    ):
        measured = BodyMeasurements(body)
        for limit in (1.0, 2.0):
            measured.thin_places(limit)
            measured.narrow_places(limit)
        measured.knife_edges(1.0)
        measured.details(1.0)
        measured.panels(3.0)
        measured.thick_places(2.0)
        map_widths(measured.mesh, measured.solids, np.arange(len(measured.mesh)), 4.0)
        measured.hollows(3.5, 1.0)
        assert measured.bores and measured.voids, "the part lost what it is to exercise"
        measured.sides_of_box((1.0, 1.0, 1.0))
        sound = measured.soundness
        for limit in (0.0, 0.05):
            sound.crossings(limit)
            sound.overlaps(limit)
            sound.touches(limit)
            sound.nested(limit)
            sound.coarse(limit)
            sound.slivers(limit)
            sound.fragments(limit)
            sound.fine(limit)
        assert sound.open_edges is not None and sound.flipped is not None and sound.degenerate is not None
        assert sound.non_manifold_edges is not None and sound.pinched is not None and sound.doubles is not None


def example_part() -> tuple[np.ndarray, np.ndarray]:
    """A small part with one of everything: thin wall, pin, slot, hole, blade, hollow, void, and faults of a mesh.

    Making it starts manifold3d's threads, which stay.
    """
    from manifold3d import CrossSection, Manifold

    def block(x: float, y: float, z: float) -> Manifold:
        return Manifold.cube([x, y, z])

    part = block(60, 20, 3) + block(8, 0.6, 8) + Manifold.cylinder(8, 0.4, -1, 12).translate([14, 4, 0])
    part -= Manifold.cylinder(9, 0.6, -1, 24).translate([20, 6, -1]) + block(6, 0.4, 9).translate([24, 6, -1])
    part += Manifold.extrude(CrossSection([[[30, 2], [36, 2], [36, 3.5]]]), 8) + block(4, 1, 3.3).translate([24, 14, 0])
    part += block(14, 14, 12).translate([40, 3, 0]) - block(10, 10, 8).translate([42, 5, 2])
    part -= Manifold.cylinder(9, 0.8, -1, 16).translate([47, 10, 8])
    part += block(8, 8, 8).translate([4, 10, 0]) - block(3, 3, 3).translate([6, 12, 3])
    # A second body that touches, one that crosses, a flipped and a missing face, a face twice, a degenerate one.
    part = Manifold.compose([part, block(5, 5, 5).translate([60.2, 0, 0]), block(4, 4, 4).translate([58, 14, 1])])
    mesh = part.to_mesh()
    vertices = np.asarray(mesh.vert_properties[:, :3], np.float64)
    faces = np.asarray(mesh.tri_verts, np.int32)
    loose = np.array([[0, 0, 30], [1, 0, 30], [0, 1, 30], [0, 0, 31]], float)
    extra = np.array([[0, 1, 2], [0, 1, 3], [0, 1, 3], [1, 1, 2]], np.int32) + len(vertices)
    return np.concatenate([vertices, loose]), np.concatenate([faces, extra])
