"""The folded flat as an exact solid, and round trips: unfold what was folded, fold what was unfolded."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from parts import bent_solids
from parts import folds as made
from parts.folds import K, R, T
from parts.reading import read_bytes
from shapely.geometry import Point, Polygon, box

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.measure.fold import fold
from lintsvc.measure.fold_flat import fold_flat
from lintsvc.measure.fold_solid import solid_of, step_bytes
from lintsvc.measure.fold_zones import NotFolded
from lintsvc.measure.solid_sheet import sheet_of
from lintsvc.model.choices import Choices


def volume_of(solid: Any) -> float:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, properties)
    return float(properties.Mass())


def cylinders_of(solid: Any) -> list[float]:
    """Radii of all cylindrical faces."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    found, faces = [], TopExp_Explorer(solid, TopAbs_FACE)
    while faces.More():
        surface = BRepAdaptor_Surface(TopoDS.Face(faces.Current()))
        if surface.GetType() == GeomAbs_Cylinder:
            found.append(surface.Cylinder().Radius())
        faces.Next()
    return sorted(found)


def exact(straights: list[float], angles: list[float], width: float = 50.0) -> float:
    sectors = sum(math.radians(abs(a)) / 2 * ((R + T) ** 2 - R**2) for a in angles)
    return width * (T * sum(straights) + sectors)


@pytest.mark.parametrize(
    ("straights", "angles"),
    [([40, 30], [90]), ([40, 30], [-90]), ([30, 60, 30], [90, 90]), ([30, 20, 30], [90, -45]), ([50, 20], [180])],
)
def test_volume_is_exact_and_bends_are_cylinders(straights: list[float], angles: list[float]) -> None:
    solid = solid_of(fold(*made.strip(straights, angles), T))
    assert volume_of(solid) == pytest.approx(exact(straights, angles), rel=1e-6)
    assert cylinders_of(solid) == pytest.approx(sorted([R, R + T] * len(angles)), abs=1e-6)


def test_round_holes_are_round() -> None:
    outline, bends = made.strip([40, 30], [90])
    hole = Point(20, 25).buffer(4, quad_segs=32)
    solid = solid_of(fold(outline.difference(hole), bends, T))
    assert volume_of(solid) == pytest.approx(exact([40, 30], [90]) - math.pi * 16 * T, rel=1e-5)
    assert cylinders_of(solid) == pytest.approx([R, 4, R + T], abs=1e-4)


@pytest.mark.parametrize(
    "outline",
    [
        box(0, 0, 76, 50).difference(box(35, 20, 50, 30)),
        Polygon([(0, 0), (76, 10), (76, 40), (0, 50)]),
        box(0, 0, 76, 50).difference(Point(43, 25).buffer(6)),
        box(0, 0, 76, 50).difference(Point(43, 0).buffer(8)),
    ],
    ids=["window", "sloping ends", "hole in the bend", "round notch"],
)
def test_odd_bends_make_a_sound_solid(outline: Polygon) -> None:
    folded = fold(outline, [made.bend((43, 0), (43, 50), 90)], T)
    solid = solid_of(folded)
    assert volume_of(solid) == pytest.approx(folded.volume_mm3, rel=2e-3)


def test_bend_around_nothing_makes_a_sound_solid() -> None:
    solid = solid_of(fold(*made.strip([40, 30], [90], radius=0.0), T))
    assert volume_of(solid) == pytest.approx(50 * (70 * T + math.pi / 4 * T * T), rel=1e-6)


def test_part_that_is_not_folded_whole_has_no_exact_solid() -> None:
    with pytest.raises(NotFolded, match="not folded whole"):
        solid_of(fold(*made.strip([40, 30], [90]), T).posed({0: 0.0}))


def test_step_file_is_read_back(tmp_path: Path) -> None:
    folded = fold(*made.tray((80, 50), 20), T)
    data = step_bytes(folded, "tray")
    part = read_bytes(tmp_path, data)
    assert part.format == "STEP"
    assert (part.units.value, part.units.stated) == ("mm", True)
    assert sorted(part.size_mm) == pytest.approx(sorted(folded.finished_size_mm), abs=1e-3)


@pytest.mark.parametrize("part", bent_solids.PARTS, ids=[p.name for p in bent_solids.PARTS])
def test_unfolded_solid_folds_back_into_itself(part: bent_solids.Bent) -> None:
    shape = part.make()
    sheet = sheet_of(tuple(x.wrapped for x in shape.solids()), None, K).sheet
    assert sheet is not None
    folded = fold_flat(FlatMeasurements(sheet, Choices(), None), sheet.thickness_mm)
    box_ = shape.bounding_box().size
    assert sorted(folded.finished_size_mm) == pytest.approx(sorted((box_.X, box_.Y, box_.Z)), abs=0.01)
    # What is worked on the edges after cutting, or mitred, is not in the flat: the part as it is before that.
    volume = shape.volume if part.plain is None else part.plain().volume
    assert folded.volume_mm3 == pytest.approx(volume, rel=2e-3)
    assert volume_of(solid_of(folded)) == pytest.approx(volume, rel=1e-5)


def test_folded_body_goes_out_as_glb() -> None:
    import io

    import trimesh

    from lintsvc.reports.highlights_glb import write_glb

    folded = fold(*made.tray((80, 50), 20), T)
    scene = trimesh.load_scene(io.BytesIO(write_glb(folded.body, ())), file_type="glb")
    mesh = scene.to_mesh()
    # glTF is in metres, y up.
    assert mesh.volume * 1e9 == pytest.approx(folded.volume_mm3, rel=1e-4)
    assert sorted(mesh.extents * 1e3) == pytest.approx(sorted(folded.finished_size_mm), abs=1e-2)


def test_flat_of_a_dxf_folds(tmp_path: Path) -> None:
    from parts import flatfiles

    wide = made.allowance(90)
    text = flatfiles.dxf(
        flatfiles.rectangle(70 + wide, 50)
        + flatfiles.circle(20, 25, 4)
        + flatfiles.line((40 + wide / 2, 0.3), (40 + wide / 2, 49.8), layer=f"BEND_UP_90_R{R:g}")
    )
    sheet = read_bytes(tmp_path, text).sheet
    assert sheet is not None
    folded = fold_flat(FlatMeasurements(sheet, Choices(k_factor=K), None), T)
    assert sorted(folded.finished_size_mm) == pytest.approx([30 + R + T, 40 + R + T, 50], abs=1e-4)


def test_what_a_flat_leaves_open_is_asked_for(tmp_path: Path) -> None:
    from parts import flatfiles

    text = flatfiles.dxf(flatfiles.rectangle(80, 50) + flatfiles.line((40, 0), (40, 50), layer="BEND"))
    sheet = read_bytes(tmp_path, text).sheet
    assert sheet is not None
    flat = FlatMeasurements(sheet, Choices(), None)
    with pytest.raises(NotFolded, match="no angle and no direction and no inside radius"):
        fold_flat(flat, T)
    with pytest.raises(NotFolded, match="thickness"):
        fold_flat(flat, None)
    two = flatfiles.dxf(flatfiles.rectangle(80, 50) + flatfiles.rectangle(80, 50, 100)
                        + flatfiles.line((40, 0), (40, 50), layer="BEND_UP")
                        + flatfiles.line((140, 0), (140, 50), layer="BEND_UP"))  # fmt: skip
    other = read_bytes(tmp_path, two).sheet
    assert other is not None
    with pytest.raises(NotFolded, match="several parts"):
        fold_flat(FlatMeasurements(other, Choices(), None), T)
