"""What is measured on real printed parts, each number looked at by hand where it is not in the index of the corpus."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.place import Place
from lintsvc.model.part import NotMeasurable
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

pytestmark = pytest.mark.needs_shared


def measured(shared: Path, file: str) -> BodyMeasurements:
    part = read_part(shared / "corpus" / "open" / file, ReadOptions(file, ""))
    assert part.body is not None
    return BodyMeasurements(part.body)


def walls(body: BodyMeasurements, limit_mm: float = 0.8) -> list[Place]:
    """What powder-bed/thin-wall tells."""
    return [x for x in body.thin_places(limit_mm) if not (x.round or x.low or x.slight(limit_mm))]


def test_notches_that_end_near_the_bore_of_a_test_cube_are_thin_spots(shared: Path) -> None:
    """The ends of four notches lie 0.358 and 0.379 mm from the round bore: the corners' distance from its facets."""
    body = measured(shared, "stl/Voron_Design_Cube_v7.stl")
    found = walls(body)
    assert [x.width_mm for x in found] == pytest.approx([0.358, 0.358, 0.379, 0.379, 0.659], abs=0.002)
    for place in found[:4]:
        corner, other = place.span
        assert np.linalg.norm(body.mesh.vertices - corner, axis=1).min() < 0.01
        assert np.linalg.norm(corner - other) == pytest.approx(place.width_mm, abs=1e-4)


@pytest.mark.parametrize(
    "file",
    [
        # Threads that run out at the end face: edges of 30 degrees, no walls.
        "stl/Thread_Test_3_x1_Rev1.STL",
        "stl/xy_joint_left_lower_MGN12.stl",
        "stl/[a]_z_belt_clip_lower_x4.stl",
        "stl/ati_sensor_top_plate.STL",
        "stl/plate_holes.STL",
        # Slits of a hundredth, and slivers at their rims.
        "3mf/cube_gears_prod.3mf",
    ],
)
def test_part_without_thin_walls_has_none(shared: Path, file: str) -> None:
    assert [x.width_mm for x in walls(measured(shared, file))] == []


def test_notch_that_runs_into_a_curve_is_no_gap(shared: Path) -> None:
    found = measured(shared, "stl/xy_joint_left_lower_MGN12.stl").narrow_places(0.5)
    assert [x.width_mm for x in found if not x.low] == []


def test_sharp_edge_of_a_wing_is_told_as_an_edge_and_not_as_a_wall_too(shared: Path) -> None:
    body = measured(shared, "stl/bad-stl-wing.stl")
    assert [round(x.reach_mm) for x in body.knife_edges(0.8)[:1]] == [9]
    # The tip is thin all over.
    assert [round(x.width_mm, 2) for x in walls(body)] == [0.39]


def test_membranes_over_the_nut_traps_of_a_printed_idler_are_walls(shared: Path) -> None:
    """Drawn 0.15 mm thick; the round bore behind one comes 0.002 mm nearer between two of its facets (section)."""
    body = measured(shared, "stl/MINI-extruder-idler.stl")
    assert [x.width_mm for x in walls(body)][:2] == pytest.approx([0.148, 0.150], abs=0.001)
    assert [round(x.volume_mm3, 1) for x in body.voids] == [35.2, 35.2]


def test_wall_before_a_slit_is_no_part_of_the_sharp_edge_beside_it(shared: Path) -> None:
    """Closed slits end 0.7 mm behind one side of an edge of 31 degrees. A section of the edge loses 1.38 mm to an
    opening with a disc of 0.8 mm (Shapely)."""
    body = measured(shared, "stl/MINI-extruder-idler.stl")
    (edge,) = [x for x in body.knife_edges(0.8) if x.length_mm > 5 and x.angle_deg < 35]
    assert edge.reach_mm == pytest.approx(1.38, rel=0.02)


def test_surface_that_crosses_itself_nearly_everywhere_has_no_walls_to_tell(shared: Path) -> None:
    with pytest.raises(NotMeasurable, match="a third of the faces"):
        measured(shared, "obj/openscad-nonmanifold-crash.obj").thin_places(0.8)


def test_wall_before_the_round_end_of_a_slit_is_as_thick_as_its_section(shared: Path) -> None:
    """The slit's arc runs into a flat at 24 degrees: a section shows 0.750 mm there, as all along."""
    body = measured(shared, "stl/MINI-extruder-idler.stl")
    assert walls(body)[4].width_mm == pytest.approx(0.75, rel=2e-3)
    assert walls(body)[4].chord_mm < 0.005
