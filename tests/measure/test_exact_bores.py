"""Holes of a STEP body are those of its solids: true diameters, each instance, with the triangles of their faces."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import bent_solids
from parts.reading import read_file

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.model.choices import Choices
from lintsvc.model.part import Part
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs


@pytest.fixture(scope="module")
def stepped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A block of 40 x 20 x 12 with a 1.45 through hole, and a 3 hole with a counterbore of 8, twice."""
    from build123d import Align, Box, Compound, Cylinder, Location

    down = (Align.CENTER, Align.CENTER, Align.MAX)
    block = Box(40, 20, 12) - Cylinder(0.725, 12).moved(Location((-12, 0, 0)))
    block -= Cylinder(1.5, 12).moved(Location((8, 0, 0)))
    block -= Cylinder(4, 5, align=down).moved(Location((8, 0, 6)))
    block.label = "block"
    other = block.moved(Location((0, 60, 5), (0, 90, 0)))
    other.label = "block"
    folder = tmp_path_factory.mktemp("bores")
    return bent_solids.written(Compound(label="two", children=[block, other]), folder / "two.step")


@pytest.fixture(scope="module")
def part(stepped: Path) -> Part:
    return read_file(stepped)


def test_diameters_are_the_designers_own(part: Part) -> None:
    assert part.body is not None
    bores = BodyMeasurements(part.body).bores
    assert [x.diameter_mm for x in bores] == pytest.approx([1.45, 1.45, 3.0, 3.0, 8.0, 8.0], abs=1e-9)
    assert [x.depth_mm for x in bores] == pytest.approx([12, 12, 7, 7, 5, 5], abs=1e-9)
    assert all(x.through for x in bores)


def test_triangles_of_a_hole_lie_on_its_cylinder(part: Part) -> None:
    assert part.body is not None
    for bore in BodyMeasurements(part.body).bores:
        corners = part.body.vertices[part.body.faces[bore.faces]].reshape(-1, 3)
        along = (corners - bore.low) @ bore.axis
        off = np.linalg.norm(corners - bore.low - along[:, None] * bore.axis, axis=1)
        assert off == pytest.approx(bore.diameter_mm / 2, abs=1e-6)
        assert (along.min(), along.max()) == pytest.approx((0, bore.depth_mm), abs=1e-6)


def test_small_hole_of_a_step_body_is_found_with_its_face(stepped: Path) -> None:
    rules = [x for pack in load_packs() for x in pack.rules if x.id == "powder-bed/small-hole"]
    report = check_file(stepped, Choices(process="powder-bed"), rules).report
    assert [x.measured.value for x in report.findings if x.measured] == pytest.approx([1.45, 1.45], abs=1e-6)
    for finding in report.findings:
        assert finding.where is not None
        assert finding.where.faces
        assert finding.limit is not None
        assert finding.limit.value == 2.0


def test_blind_and_pointed_holes_are_closed_at_their_end(tmp_path: Path) -> None:
    from build123d import Align, Box, Cone, Cylinder, Location

    down = (Align.CENTER, Align.CENTER, Align.MAX)
    block = Box(40, 20, 12) - Cylinder(2, 8, align=down).moved(Location((-12, 0, 6)))
    block -= Cylinder(1.5, 7, align=down).moved(Location((12, 0, 6)))
    block -= Cone(0, 1.5, 1, align=down).moved(Location((12, 0, -1)))
    read = read_file(bent_solids.written(block, tmp_path / "blind.step"))
    assert read.body is not None
    bores = BodyMeasurements(read.body).bores
    assert [(x.diameter_mm, x.depth_mm, x.blind) for x in bores] == [
        (pytest.approx(3), pytest.approx(7), True),
        (pytest.approx(4), pytest.approx(8), True),
    ]


def test_wall_beside_a_bore_of_a_long_part_is_not_thinner_for_its_triangles(tmp_path: Path) -> None:
    from build123d import Box, Cylinder, Location

    rules = [x for pack in load_packs() for x in pack.rules if x.id == "powder-bed/thin-wall"]
    for radius in (1.0, 3.0):
        # The longer the part, the coarser the triangles.
        solid = Box(420, 20, 10) - Cylinder(radius, 12).moved(Location((0, 10 - radius - 0.5, 0)))
        choices = Choices(process="powder-bed", material="pa12")
        (wall,) = check_file(bent_solids.written(solid, tmp_path / "a.step"), choices, rules).report.findings
        assert wall.measured is not None
        assert wall.measured.value == pytest.approx(0.5, rel=2e-3)
