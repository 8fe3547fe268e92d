"""A hole that a STEP file names, or puts on a layer, as tapped is a tapped hole of the flat."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from parts import bent_solids as made

from lintsvc.model.choices import Choices
from lintsvc.readers.step_names import named_cylinders
from lintsvc.rulebook.check import checked_again


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """An angle with two holes of 3.3 mm, as STEP."""
    solid = next(p for p in made.PARTS if p.name == "open angle").make()
    for z in (10, 30):
        solid = made.drill(solid, (15, 1, z), (0, 1, 0), 3.3)
    return made.written(solid, tmp_path_factory.mktemp("names") / "a.step").read_bytes()


def round_faces(text: bytes) -> list[bytes]:
    """Numbers of the faces on cylinders of 1.65 mm."""
    surfaces = re.findall(rb"#(\d+)\s*=\s*CYLINDRICAL_SURFACE\(''\s*,\s*#\d+\s*,\s*1\.65", text)
    faces = [re.search(rb"#(\d+)\s*=\s*ADVANCED_FACE\('',[^;]*?#" + x + rb"\s*,", text) for x in surfaces]
    return [x[1] for x in faces if x]


def tapped(folder: Path, text: bytes) -> list[tuple[str, float]]:
    (folder / "b.step").write_bytes(text)
    screws = checked_again(folder / "b.step", Choices(process="sheet"), "b.step", "").screws
    return sorted((x.row.name, x.diameter_mm) for x in screws.tapped if x.row is not None)


def test_named_face_is_tapped(tmp_path: Path, text: bytes) -> None:
    assert tapped(tmp_path, text) == []
    first, _ = round_faces(text)
    named = re.sub(rb"#" + first + rb"(\s*=\s*ADVANCED_FACE\()''", rb"#" + first + rb"\1'M4 tapped'", text)
    assert tapped(tmp_path, named) == [("M4x0.7", pytest.approx(3.3))]


def test_face_on_a_layer_is_tapped(tmp_path: Path, text: bytes) -> None:
    faces = b",".join(b"#" + x for x in round_faces(text))
    layer = b"#900001=PRESENTATION_LAYER_ASSIGNMENT('TAP_M4','',(" + faces + b"));\nENDSEC;\nEND-ISO"
    assert tapped(tmp_path, text.replace(b"ENDSEC;\nEND-ISO", layer)) == [("M4x0.7", pytest.approx(3.3))] * 2


def noted(text: bytes, feature: str, note: str) -> bytes:
    """The text with a dimension at the first round face, as AP242 has it, and a note there."""
    lines = f"""#900001=SHAPE_ASPECT('{feature}','',#4,.T.);
#900002=GEOMETRIC_ITEM_SPECIFIC_USAGE('','',#900001,#10,#{round_faces(text)[0].decode()});
#900003=DESCRIPTIVE_REPRESENTATION_ITEM('dimensional note',
  '{note}');
#900004=SHAPE_DIMENSION_REPRESENTATION('',(#900003),#11);
#900005=DIMENSIONAL_CHARACTERISTIC_REPRESENTATION(#900006,#900004);
#900006=DIMENSIONAL_SIZE(#900001,'diameter');
ENDSEC;
END-ISO"""
    return text.replace(b"ENDSEC;\nEND-ISO", lines.encode())


@pytest.mark.parametrize(
    ("feature", "note", "found"),
    [
        ("", "M4x0.7 - 6H", ["M4x0.7"]),
        ("tapped", "M4", ["M4x0.7"]),
        ("M4 thread", "theoretical", ["M4x0.7"]),
        ("hole 7", "theoretical", []),
        ("", "for M4", []),
    ],
)
def test_note_at_a_dimension_says_that_a_hole_is_tapped(
    tmp_path: Path, text: bytes, feature: str, note: str, found: list[str]
) -> None:
    assert [name for name, _ in tapped(tmp_path, noted(text, feature, note))] == found


def test_names_that_say_nothing_of_threads_change_nothing(tmp_path: Path, text: bytes) -> None:
    first, _ = round_faces(text)
    named = re.sub(rb"#" + first + rb"(\s*=\s*ADVANCED_FACE\()''", rb"#" + first + rb"\1'hole 7'", text)
    assert tapped(tmp_path, named) == []


def test_a_damaged_number_names_nothing() -> None:
    text = (
        b"#1=ADVANCED_FACE('M4',(#9),#2,.T.);#2=CYLINDRICAL_SURFACE('',#3,0...295);"
        b"#3=AXIS2_PLACEMENT_3D('',#4,#5,#6);#4=CARTESIAN_POINT('',(0.,0.,0.));#5=DIRECTION('',(0.,0.,1.));"
    )
    assert named_cylinders(text, 1.0) == ()
    assert len(named_cylinders(text.replace(b"0...295", b"0.295"), 1.0)) == 1
