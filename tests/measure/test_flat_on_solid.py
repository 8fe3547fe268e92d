"""A finding in the flat of an unfolded solid comes to lie on the solid, on the face that it is about."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import bent_solids as made
from parts.reading import read_file

from lintsvc.measure.flat_on_solid import FlatOnSolid
from lintsvc.measure.flat_where import where
from lintsvc.measure.solid_sheet import as_sheet
from lintsvc.model.part import Part
from lintsvc.model.sheet import Circle


def drilled(folder: Path) -> Part:
    from build123d import Location

    solid = next(p for p in made.PARTS if p.name == "offset").make()
    # A hole in each of the two outer flanges, the part standing askew.
    for x, y, z in ((9, 1, 41), (59, 29, 17)):
        solid = made.drill(solid, (x, y, z), (0, 1, 0), 6.0)
    return as_sheet(
        read_file(made.written(solid.moved(Location((5, 6, 7), (20, 30, 40))), folder / "a.step")), None, None
    )


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Part:
    return drilled(tmp_path_factory.mktemp("on"))


def test_every_hole_lights_its_own_cylinder(part: Part) -> None:
    assert part.sheet is not None
    assert part.body is not None
    on = FlatOnSolid(part)
    holes = [(x, s) for x in part.sheet.entities for s in x.shapes if isinstance(s, Circle)]
    assert len(holes) == 2
    lit = []
    for entity, circle in holes:
        (x, y), r = circle.centre, circle.radius_mm
        place = on.where(where([(x - r, y - r), (x + r, y + r)], (entity.number,), at=circle.centre))
        corners = part.body.vertices[part.body.faces[list(place.faces)]].reshape(-1, 3)
        # Its wall and nothing else: all corners lie on a cylinder about the point, as long as the sheet is thick.
        away = corners - np.array(place.point)
        assert len(np.unique(part.body.face_patch[list(place.faces)])) == 1
        assert np.hypot(made.T / 2, r) == pytest.approx(np.linalg.norm(away, axis=1), abs=0.01)
        lit.append(place.faces)
    assert not set(lit[0]) & set(lit[1])


def test_a_bend_line_lights_the_bend(part: Part) -> None:
    assert part.sheet is not None
    assert part.body is not None
    on = FlatOnSolid(part)
    for bend in part.sheet.bends:
        assert bend.entity is not None
        place = on.where(where([bend.start, bend.end], (bend.entity,)))
        patches = np.unique(part.body.face_patch[list(place.faces)])
        corners = part.body.vertices[part.body.faces[list(place.faces)]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        # Of one cylinder: its triangles look many ways, all at right angles to the bend.
        assert len(patches) == 1
        assert np.linalg.matrix_rank(normals, tol=1e-6) == 2
