"""3MF against its core specification 1.4 and the production extension 1.1; and packages made to do harm."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
from parts import meshfiles as made
from parts.reading import read_bytes, read_file

from lintsvc.model.part import Part, Unreadable

VERTICES, FACES = made.box()
MESH = made.mesh_xml(VERTICES, FACES)
BOX = f'<object id="1" name="box">{MESH}</object>'


def volume(part: Part) -> float:
    """Signed volume in mm³, as the divergence theorem gives it."""
    assert part.body is not None
    a, b, c = (part.body.vertices[part.body.faces[:, i]].astype(float) for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_box_comes_back_as_it_stands(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX)))
    assert part.format == "3MF"
    assert part.units.stated
    assert part.body is not None
    np.testing.assert_array_equal(part.body.faces, FACES)
    np.testing.assert_array_equal(part.body.vertices, VERTICES)
    assert volume(part) == pytest.approx(6000)


# 3MF Core 1.4 section 3.4: the six units, and millimeter where none is stated. 1 inch is 25.4 mm, 1 foot 12 inches.
@pytest.mark.parametrize(
    ("attribute", "mm"),
    [
        ('unit="micron"', 0.001),
        ('unit="millimeter"', 1.0),
        ('unit="centimeter"', 10.0),
        ('unit="inch"', 25.4),
        ('unit="foot"', 304.8),
        ('unit="meter"', 1000.0),
        ("", 1.0),
    ],
)
def test_units_of_the_specification(tmp_path: Path, attribute: str, mm: float) -> None:
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX, attributes=attribute)))
    assert part.size_mm == pytest.approx((10 * mm, 20 * mm, 30 * mm))
    assert part.units.stated


@pytest.mark.parametrize("unit", ["furlong", "MILLIMETER", "mm", ""])
def test_other_units_are_refused(tmp_path: Path, unit: str) -> None:
    with pytest.raises(Unreadable, match="unit"):
        read_bytes(tmp_path, made.threemf(made.model_xml(BOX, attributes=f'unit="{unit}"')))


def test_user_may_overrule_the_unit(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX)), units="in")
    assert part.size_mm == pytest.approx((254, 508, 762))
    assert part.units.why == "by the user's word"


def test_transform_is_a_row_vector_times_four_rows_of_three(tmp_path: Path) -> None:
    # Section 3.3: a quarter turn about z, then a shift: x' = -y + 100, y' = x.
    items = '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 100 0 5"/>'
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX, items)))
    assert part.body is not None
    x, y, z = VERTICES.T
    np.testing.assert_allclose(part.body.vertices, np.stack((100 - y, x, z + 5), axis=1))
    assert volume(part) == pytest.approx(6000)


def test_mirroring_keeps_the_outside_out(tmp_path: Path) -> None:
    items = '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    assert volume(read_bytes(tmp_path, made.threemf(made.model_xml(BOX, items)))) == pytest.approx(6000)


def test_an_item_built_twice_in_one_place_is_read_once_and_said(tmp_path: Path) -> None:
    here, there = '<item objectid="1"/>', '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 50 0 0"/>'
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX, here + there + here + there + here)))
    assert part.body is not None
    assert len(part.body.faces) == 2 * len(FACES)
    (note,) = part.notes
    assert note.kind == "recovered"
    assert note.count == 3


def test_components_chain_their_transforms_inner_first(tmp_path: Path) -> None:
    resources = (
        f'{BOX}<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>'
        '<component objectid="1"/></components></object>'
    )
    items = '<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 1"/>'
    part = read_bytes(tmp_path, made.threemf(made.model_xml(resources, items)))
    assert part.body is not None
    np.testing.assert_allclose(part.body.vertices[:8], (VERTICES + np.array([5, 0, 0])) * 2 + [0, 0, 1])
    np.testing.assert_allclose(part.body.vertices[8:], VERTICES * 2 + [0, 0, 1])
    assert part.body.face_object is not None
    assert part.body.face_object.tolist() == [0] * 12 + [1] * 12
    assert part.body.object_names == ("box", "box")


def test_production_paths_lead_to_objects_of_the_same_number(tmp_path: Path) -> None:
    space = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
    attributes = f'unit="millimeter" xmlns:p="{space}" requiredextensions="p"'
    small = made.mesh_xml(*made.box(1, 1, 1))
    root = made.model_xml(
        '<object id="1"><components><component objectid="1" p:path="/3D/a.model"/>'
        '<component objectid="1" p:path="/3D/sub/b.model" transform="1 0 0 0 1 0 0 0 1 50 0 0"/></components></object>',
        attributes=attributes,
    )
    parts: dict[str, bytes | str] = {
        "3D/a.model": made.model_xml(BOX, "", attributes=attributes),
        "3D/sub/b.model": made.model_xml(f'<object id="1">{small}</object>', "", attributes=attributes),
    }
    part = read_bytes(tmp_path, made.threemf(root, more=parts))
    assert part.size_mm == pytest.approx((51, 20, 30))
    assert volume(part) == pytest.approx(6001)


@pytest.mark.parametrize("kind", ["support", "solidsupport", "surface", "other"])
def test_objects_that_are_not_the_part_are_left_out(tmp_path: Path, kind: str) -> None:
    side = f'<object id="2" type="{kind}">{MESH}</object>'
    items = '<item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 90 0 0"/>'
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX + side, items)))
    assert part.size_mm == pytest.approx((10, 20, 30))
    assert part.notes[0].kind == "ignored"
    with pytest.raises(Unreadable, match="not the part"):
        read_bytes(tmp_path, made.threemf(made.model_xml(side, '<item objectid="2"/>')))


def test_beams_are_named(tmp_path: Path) -> None:
    space = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
    beams = '<b:beamlattice minlength="1" radius="1"><b:beams><b:beam v1="0" v2="1"/></b:beams></b:beamlattice></mesh>'
    attributes = f'unit="millimeter" xmlns:b="{space}" requiredextensions="b"'
    mesh = MESH.replace("</mesh>", beams)
    part = read_bytes(tmp_path, made.threemf(made.model_xml(f'<object id="1">{mesh}</object>', attributes=attributes)))
    assert "1 beams" in part.notes[0].text
    bare = mesh[: mesh.index("<triangles>")] + mesh[mesh.index("</triangles>") + len("</triangles>") :]
    with pytest.raises(Unreadable, match="lattice"):
        read_bytes(tmp_path, made.threemf(made.model_xml(f'<object id="1">{bare}</object>', attributes=attributes)))


def test_undeclared_prefix_is_a_note_and_a_prefixed_core_is_read(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX.replace("<mesh>", "<zz:extra/><mesh>"))))
    assert '"zz"' in part.notes[0].text
    text = (
        made.model_xml(BOX)
        .replace("<", "<m:")
        .replace("<m:/", "</m:")
        .replace("<m:?", "<?")
        .replace("xmlns=", "xmlns:m=")
    )
    assert volume(read_bytes(tmp_path, made.threemf(text))) == pytest.approx(6000)


@pytest.mark.parametrize(
    ("resources", "items", "why"),
    [
        (BOX, '<item objectid="7"/>', 'object "7"'),
        (BOX, "", "builds nothing"),
        (BOX + BOX, '<item objectid="1"/>', "id"),
        (BOX.replace('v1="0"', 'v1="8"', 1), '<item objectid="1"/>', "names vertex 8"),
        (BOX.replace('v1="0"', 'v1="-1"', 1), '<item objectid="1"/>', "names vertex -1"),
        (BOX.replace('v1="0"', 'v1="0.5"', 1), '<item objectid="1"/>', "no number"),
        (BOX.replace('v1="0"', 'v1="99999999999999999999"', 1), '<item objectid="1"/>', "no number"),
        (BOX.replace('v1="0" ', "", 1), '<item objectid="1"/>', "has no v1"),
        (BOX.replace('x="10.0"', 'x="NaN"', 1), '<item objectid="1"/>', "no numbers"),
        (BOX, '<item objectid="1" transform="1 0 0"/>', "twelve"),
        (BOX, '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>', "flattens"),
        (BOX, '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 inf"/>', "twelve"),
        ('<object id="1" type="sculpture"/>', '<item objectid="1"/>', "unknown type"),
        (
            '<object id="1"><components><component objectid="1"/></components></object>',
            '<item objectid="1"/>',
            "contain themselves",
        ),
    ],
)
def test_bad_models_say_what(tmp_path: Path, resources: str, items: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        read_bytes(tmp_path, made.threemf(made.model_xml(resources, items)))


def test_required_extension_that_nobody_knows(tmp_path: Path) -> None:
    attributes = 'unit="millimeter" xmlns:q="urn:none" requiredextensions="q"'
    with pytest.raises(Unreadable, match="urn:none"):
        read_bytes(tmp_path, made.threemf(made.model_xml(BOX, attributes=attributes)))


def test_document_types_are_refused(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("do not tell")
    before = f'<!DOCTYPE model [<!ENTITY x SYSTEM "file://{secret}">]>'
    with pytest.raises(Unreadable, match="document type") as caught:
        read_bytes(tmp_path, made.threemf(made.model_xml(BOX.replace('"box"', '"&x;"'), before=before)))
    assert "do not tell" not in str(caught.value)


@pytest.mark.parametrize("name", ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"])
def test_package_without_one_of_its_parts(tmp_path: Path, name: str) -> None:
    with pytest.raises(Unreadable):
        read_bytes(tmp_path, made.threemf(made.model_xml(BOX), leave_out=[name]))


def test_entry_that_unpacks_to_far_more_is_refused(tmp_path: Path) -> None:
    text = made.model_xml(BOX).replace("<resources>", " " * (40 << 20) + "<resources>")
    with pytest.raises(Unreadable, match="unpacks to"):
        read_bytes(tmp_path, made.threemf(text))


def test_names_that_climb_are_counted_and_never_followed(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX), more={"../../up.txt": "x", "..\\up.txt": "y"}))
    assert "2 entries" in part.notes[0].text
    assert [p.name for p in tmp_path.parent.rglob("up.txt")] == []


@pytest.mark.parametrize(
    "target", ['Target="C:/x.png"', 'Target="../../x.png"', 'Target="/3D/x.png" TargetMode="External"']
)
def test_relationship_that_points_out_of_the_package_is_told(tmp_path: Path, target: str) -> None:
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="r1" Type="texture" {target}/></Relationships>'
    )
    part = read_bytes(tmp_path, made.threemf(made.model_xml(BOX), more={"3D/_rels/3dmodel.model.rels": rels}))
    assert [(x.kind, x.count) for x in part.notes] == [("recovered", 1)]
    assert "may refuse the file" in part.notes[0].text


def test_plain_zip_is_no_3mf(tmp_path: Path) -> None:
    path = tmp_path / "parts.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("part.stl", made.binary_stl(VERTICES, FACES))
    with pytest.raises(Unreadable, match="Unpack it"):
        read_file(path)
