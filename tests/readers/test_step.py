"""STEP: units, names and instances, triangles that know their face, and everything that may get lost."""

from __future__ import annotations

import csv
import json
import math
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from parts import bent_solids as bent
from parts.fenced import read_all
from parts.reading import read_bytes, read_file

from lintsvc.model.body import Body
from lintsvc.model.part import Part, Unreadable

csv.field_size_limit(sys.maxsize)


@pytest.fixture(scope="module")
def box_step(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A box of 10 x 20 x 30 mm."""
    from build123d import Box

    return bent.written(Box(10, 20, 30), tmp_path_factory.mktemp("step") / "box.step").read_bytes()


def volume(body: Body) -> float:
    a, b, c = (body.vertices[body.faces[:, i]].astype(float) for i in range(3))
    middle = a.mean(axis=0)
    return float(np.einsum("ij,ij->", a - middle, np.cross(b - a, c - a)) / 6)


def open_edges(body: Body) -> int:
    """Edges that are not shared by exactly two triangles, points that agree exactly taken as one."""
    _, index = np.unique(body.vertices, axis=0, return_inverse=True)
    faces = index.reshape(-1)[body.faces]
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return int((np.unique(edges, axis=0, return_counts=True)[1] != 2).sum())


def test_box_has_its_six_faces(tmp_path: Path, box_step: bytes) -> None:
    part = read_bytes(tmp_path, box_step)
    assert (part.format, part.kind, part.units.value, part.units.stated) == ("STEP", "body", "mm", True)
    assert part.size_mm == pytest.approx((10, 20, 30))
    body = part.body
    assert body is not None
    assert volume(body) == pytest.approx(6000)
    assert body.face_patch is not None
    assert np.bincount(body.face_patch).tolist() == [2] * 6
    assert len(body.exact.faces) == 6
    assert open_edges(body) == 0


def test_inch_file_comes_out_in_mm(tmp_path: Path) -> None:
    from build123d import Box

    part = read_file(bent.written(Box(25.4, 50.8, 76.2), tmp_path / "a.step", "INCH"))
    assert part.units.value == "in"
    assert part.size_mm == pytest.approx((25.4, 50.8, 76.2))


def test_word_of_the_user_about_the_unit_wins(tmp_path: Path, box_step: bytes) -> None:
    part = read_bytes(tmp_path, box_step, units="in")
    assert part.size_mm == pytest.approx((254, 508, 762))
    assert part.body is not None
    assert volume(part.body) == pytest.approx(6000 * 25.4**3)


def test_missing_unit_is_doubtful(tmp_path: Path, box_step: bytes) -> None:
    text = re.sub(rb"\(\s*LENGTH_UNIT\(\)[^;]*;", b"(NAMED_UNIT(*));", box_step, count=1)
    part = read_bytes(tmp_path, text)
    assert not part.units.stated
    assert part.units.value == "mm"
    assert part.units.other == "in"


def test_curved_faces_lie_within_the_stated_chord(tmp_path: Path) -> None:
    from build123d import Cylinder, Sphere

    for shape, radius, across in ((Cylinder(12, 30), 12, 2), (Sphere(15), 15, 3)):
        part = read_file(bent.written(shape, tmp_path / "a.step"))
        body = part.body
        assert body is not None
        assert body.chord_error_mm is not None
        # The size is that of the exact shape and not of its chords.
        assert part.size_mm == pytest.approx((2 * radius, 2 * radius, 30), abs=1e-6)
        corners = body.vertices[body.faces]
        curved = (np.linalg.norm(corners[..., :across], axis=-1) > radius - 1e-6).all(axis=1)
        # Flat ends have all corners on the rim too; their normals point along the axis.
        flat = np.ptp(corners[..., 2], axis=1) < 1e-9 if across == 2 else np.zeros(len(corners), bool)
        chosen = corners[curved & ~flat]
        assert len(chosen) > 40
        middles = np.concatenate([chosen.mean(axis=1), (chosen[:, 0] + chosen[:, 1]) / 2])
        far = np.linalg.norm(middles[:, :across], axis=1)
        assert 0 <= radius - far.min() <= body.chord_error_mm + 1e-9


def test_assembly_gives_names_and_every_instance(tmp_path: Path) -> None:
    from build123d import Box, Compound, Location

    bracket = Box(10, 10, 10)
    bracket.label = "bracket"
    other = bracket.moved(Location((50, 0, 0), (0, 0, 90)))
    other.label = "bracket"
    lid = Box(20, 20, 2).moved(Location((0, 60, 0)))
    lid.label = "lid"
    path = bent.written(Compound(label="gauge", children=[bracket, other, lid]), tmp_path / "a.step")
    body = read_file(path).body
    assert body is not None
    assert sorted(body.object_names) == ["bracket", "bracket", "lid"]
    assert body.face_object is not None
    assert np.bincount(body.face_object).tolist() == [12, 12, 12]
    assert body.face_patch is not None
    assert len(np.unique(body.face_patch)) == 18
    assert volume(body) == pytest.approx(1000 + 1000 + 800)
    assert open_edges(body) == 0


def test_reversed_solid_is_turned_and_noted(tmp_path: Path) -> None:
    from build123d import Box, Solid

    shape = Box(10, 10, 10).solids()[0].wrapped
    part = read_file(bent.written(Solid(shape.Reversed()), tmp_path / "a.step"))
    assert part.body is not None
    assert volume(part.body) == pytest.approx(1000)


def test_loose_faces_are_read_as_an_open_surface_and_said_so(tmp_path: Path) -> None:
    from build123d import Box, Shell

    part = read_file(bent.written(Shell(Box(10, 10, 10).faces()[:5]), tmp_path / "a.step"))
    assert any(note.kind == "recovered" and "no solid" in note.text for note in part.notes)
    assert part.body is not None
    assert open_edges(part.body) == 4


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (b"END-ISO-10303-21;", b"", None),
        (b"DATA;", b"DATA;\n#900000=SHAPE_REPRESENTATION('',(#900000),#900000);", "contains itself"),
        (b"DATA;", b"DATA;\n#1=CARTESIAN_POINT('',(1.,2.,3.));", "one number twice"),
        (b"DATA;", b"DATA;\n#900000=X(" + b"(" * 50000 + b")" * 50000 + b");", "deep"),
        (b"DATA;", b"DATA;\n#900000=X('(((',#900001);", "a definition that it does not hold"),
        (b"DATA;", b"DATA;\n#900000=X((1.,2.);", "brackets"),
        (b"CARTESIAN_POINT('',", b"CARTESIAN_POINT('x',''',", "quotes"),
        (b"CARTESIAN_POINT('',(", b"CARTESIAN_POINT('',(NAN,", "number that is none"),
        (b"CARTESIAN_POINT('',(", b"CARTESIAN_POINT('',(1.E+300,", "impossible"),
        (b"MANIFOLD_SOLID_BREP", b"MANIFOLD_SOLID_TREP", None),
        (b"DATA;", b"BATA;", "DATA"),
        (b"/* none */", b"", None),
    ],
)
def test_damage_to_the_text_is_named(tmp_path: Path, box_step: bytes, old: bytes, new: bytes, why: str | None) -> None:
    data = box_step.replace(old, new, 1)
    if why is not None:
        assert data != box_step
        with pytest.raises(Unreadable, match=why):
            read_bytes(tmp_path, data)
        return
    try:
        part = read_bytes(tmp_path, data)
    except Unreadable:
        return
    assert part.body is not None
    assert data == box_step or part.notes


@pytest.mark.parametrize(
    ("owner", "wrong"),
    [("VECTOR", "CARTESIAN_POINT"), ("LINE", "PLANE"), ("VERTEX_POINT", "DIRECTION"), ("EDGE_LOOP", "VECTOR")],
)
def test_reference_to_the_wrong_kind_is_named(tmp_path: Path, box_step: bytes, owner: str, wrong: str) -> None:
    # The kernel itself ends the process on some of these.
    other = re.search(rb"#(\d+) = " + wrong.encode() + rb"\(", box_step)
    assert other is not None
    pattern = rb"(= " + owner.encode() + rb"\('',\(?)#\d+"
    data, changed = re.subn(pattern, rb"\g<1>#" + other[1], box_step, count=1)
    assert changed
    with pytest.raises(Unreadable, match="wrong kind"):
        read_bytes(tmp_path, data)


@pytest.mark.parametrize("body", [b"(LENGTH_UNIT$)", b"()", b"(1.)"])
def test_definition_of_several_things_that_names_none_is_damage_only_where_it_is_needed(
    tmp_path: Path, box_step: bytes, body: bytes
) -> None:
    beside = read_bytes(tmp_path, box_step.replace(b"DATA;", b"DATA;\n#900000=" + body + b";", 1))
    assert beside.size_mm == pytest.approx((10, 20, 30))
    units = re.sub(rb"\(\s*LENGTH_UNIT[^;]*", body, box_step, count=1)
    assert units != box_step
    try:
        part = read_bytes(tmp_path, units)
    except Unreadable:
        return
    assert not part.units.stated


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.99])
def test_cut_file_is_refused(tmp_path: Path, box_step: bytes, share: float) -> None:
    with pytest.raises(Unreadable):
        read_bytes(tmp_path, box_step[: int(share * (len(box_step) - 40))])


def test_lost_solid_is_caught(tmp_path: Path) -> None:
    from build123d import Box, Compound, Location

    path = bent.written(
        Compound(children=[Box(9, 9, 9), Box(5, 5, 5).moved(Location((40, 0, 0)))]), tmp_path / "a.step"
    )
    data = path.read_bytes()
    assert data.count(b"MANIFOLD_SOLID_BREP") == 2
    # The second solid's shell loses its faces, as where a writer drops what it does not know.
    second = data.rindex(b"CLOSED_SHELL")
    start = data.index(b"(", second + 13)
    end = data.index(b")", start)
    broken = data[:start] + b"(" + data[start + 1 : end].split(b",")[0] + data[end:]
    try:
        part = read_bytes(tmp_path, broken)
    except Unreadable:
        return
    assert any("faces" in note.text for note in part.notes), part.notes


def test_names_of_other_files_are_not_followed(tmp_path: Path, box_step: bytes) -> None:
    (tmp_path / "other.step").write_bytes(box_step)
    more = b"DATA;\n#900000=DOCUMENT_FILE('other.step','','',#900001,'','');\n#900001=DOCUMENT_TYPE('');"
    part = read_bytes(tmp_path, box_step.replace(b"DATA;", more, 1))
    assert any("not opened" in note.text for note in part.notes)
    assert part.size_mm == pytest.approx((10, 20, 30))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # Each of these crashes the kernel where it is given to it.
        (rb"VECTOR\('',(#\d+)", rb"VECTOR(''q\1"), (rb"LINE\('',(#\d+),", rb"LINE('',\1T"),
        (rb"SURFACE_CURVE\('',(#\d+),", rb"SURFACE_CURVE('',\1&"), (rb"(EDGE_LOOP\('',\()#", rb"\g<1>8*T-8#"),
        (rb"(VECTOR\('',#\d+,1\.)\)", rb"\g<1>54TB#)"),
    ],
)  # fmt: skip
def test_values_that_run_into_each_other_are_refused_before_the_kernel_sees_them(
    tmp_path: Path, box_step: bytes, old: bytes, new: bytes
) -> None:
    wrong, times = re.subn(old, new, box_step, count=1)
    assert times == 1
    with pytest.raises(Unreadable, match="run into each other"):
        read_bytes(tmp_path, wrong)


def test_comments_between_values_are_no_damage(tmp_path: Path, box_step: bytes) -> None:
    part = read_bytes(tmp_path, re.sub(rb"(VECTOR\(''),", rb"\1/* it's here */,/**/", box_step))
    assert part.size_mm == pytest.approx((10, 20, 30))


damage = st.lists(
    st.tuples(
        st.sampled_from(["flip", "cut", "insert", "number", "reference"]), st.floats(0, 1), st.integers(0, 10**6)
    ),
    min_size=1,
    max_size=4,
)


def damaged(data: bytes, steps: list[tuple[str, float, int]]) -> bytes:
    start = data.index(b"DATA;")
    for kind, place, value in steps:
        at = start + int(place * (len(data) - start - 1))
        if kind == "flip":
            data = data[:at] + bytes([value % 95 + 32]) + data[at + 1 :]
        elif kind == "cut":
            data = data[:at] + data[at + value % 60 :]
        elif kind == "insert":
            data = data[:at] + str(value).encode() + data[at:]
        else:
            pattern = rb"-?\d+\.(E[-+]\d+)?" if kind == "number" else rb"#\d+(?=[,)])"
            match = re.compile(pattern).search(data, at)
            if match:
                new = f"{value - 500000}.E{value % 40 - 20}" if kind == "number" else f"#{value % 400 + 1}"
                data = data[: match.start()] + new.encode() + data[match.end() :]
    return data


@settings(
    max_examples=4,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    # Each try starts a process: what fails is shown as it is.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(lots=st.lists(damage, min_size=36, max_size=36))
def test_damaged_files_are_read_or_refused(
    tmp_path: Path, box_step: bytes, lots: list[list[tuple[str, float, int]]]
) -> None:
    # The kernel is native code: a crash or a hang would take the tests with it, so this goes through a child.
    paths = []
    for i, steps in enumerate(lots):
        paths.append(tmp_path / f"{i}.step")
        paths[-1].write_bytes(damaged(box_step, steps))
    for outcome in read_all(paths, warm="lintsvc.readers.step_triangles"):
        assert outcome.end in ("part", "unreadable"), (outcome, Path(outcome.path).read_bytes())
        assert all(math.isfinite(x) for x in outcome.size_mm)


# The rest reads real files of others.

#: The index's own box is looser than the part, or holds curves that are no part of the solid.
LOOSE_BOX = {"step/nist_ftc_06_asme1_rd.stp"}


@pytest.fixture(scope="module")
def facts(shared: Path) -> dict[str, dict[str, Any]]:
    with (shared / "corpus/open/INDEX.tsv").open(encoding="utf8") as file:
        table = csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        return {r["file"]: json.loads(r["observed_facts_json"]) for r in table if r["format"] == "step"}


@pytest.fixture(scope="module")
def parts(shared: Path, facts: dict[str, Any]) -> dict[str, Part | Unreadable]:
    found: dict[str, Part | Unreadable] = {}
    for name in facts:
        try:
            found[name] = read_file(shared / "corpus/open" / name)
        except Unreadable as error:
            found[name] = error
    return found


@pytest.mark.needs_shared
def test_real_files_agree_with_their_facts(facts: dict[str, Any], parts: dict[str, Part | Unreadable]) -> None:
    assert len(parts) >= 13
    for name, part in parts.items():
        fact = facts[name]
        if fact["solids"] == 0:
            assert isinstance(part, Unreadable)
            assert "other" in part.why or "files" in part.why
            continue
        assert isinstance(part, Part), (name, part)
        body = part.body
        assert body is not None
        assert len(body.exact.solids) == fact["solids"], name
        assert len(body.exact.faces) == fact["faces"], name
        assert body.face_patch is not None
        assert len(np.unique(body.face_patch)) == fact["faces"], name
        assert volume(body) == pytest.approx(fact["volume_mm3"], rel=2e-3), name
        # The observed boxes were a little loose.
        if name not in LOOSE_BOX:
            assert part.size_mm == pytest.approx(tuple(fact["extents_mm"]), abs=0.05), name
        assert open_edges(body) == 0, name


@pytest.mark.needs_shared
def test_real_files_have_their_unit(parts: dict[str, Part | Unreadable], facts: dict[str, Any]) -> None:
    for name, part in parts.items():
        if isinstance(part, Part):
            inch = any(unit.lower() == "inch" for unit in facts[name].get("conversion_units", ()))
            assert part.units.value == ("in" if inch else "mm"), name
            assert part.units.stated


@pytest.mark.needs_shared
def test_assembly_of_others_keeps_its_names(parts: dict[str, Part | Unreadable]) -> None:
    part = parts["step/as1-oc-214.stp"]
    assert isinstance(part, Part)
    assert part.body is not None
    names = part.body.object_names
    assert {name: names.count(name) for name in set(names)} == {
        "nut": 8, "bolt": 6, "l-bracket": 2, "rod": 1, "plate": 1
    }  # fmt: skip
