"""Broken and hostile files end as their index says, quickly, in bounded memory, with nothing touched beside them."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts.fenced import Outcome, over_limits, read_all
from parts.hostile_files import Hostile

pytestmark = pytest.mark.needs_shared

#: The index asks for something that only a later stage can do, or that this design decides otherwise.
OTHERWISE = {
    # The format is told by content and never by the name; an upload's name is the web page's business.
    "double.stl.exe": "part",
    # Told as ASCII STL, and refused because one triangle is no solid, as for one_triangle.stl.
    "ascii_count_like_binary.stl": "unreadable",
    # A box of thirty kilometres is refused, where the index asks for a warning at least.
    "unit_km.step": "unreadable",
}
BODIES = (".stl", ".STL", ".exe", ".obj", ".ply", ".glb", ".gltf", ".3mf", ".step", "")


@pytest.fixture(scope="module")
def outcomes(hostile: dict[str, Hostile]) -> dict[str, tuple[Outcome, str]]:
    names = [n for n in hostile if Path(n.removesuffix(".gz")).suffix in BODIES and n != "upload_names.json"]
    read = read_all([hostile[n].path for n in names], warm="lintsvc.readers.step_triangles")
    return {name: (outcome, hostile[name].expected) for name, outcome in zip(names, read, strict=True)}


def wanted(expected: str) -> set[str]:
    """The ways a reading may end, from the words of the index."""
    first = expected.split(":")[0].split(";")[0].split(",")[0].strip().lower()
    if first in ("reject", "reject clear reason"):
        return {"unreadable"}
    if first.startswith("accept") and "reject" not in first:
        return {"part"}
    if first.startswith("warn"):
        return {"part"}
    return {"part", "unreadable"}


def test_every_file_ends_as_its_index_says(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert len(outcomes) > 100
    wrong = {
        name: (outcome.end, outcome.text, expected)
        for name, (outcome, expected) in outcomes.items()
        if outcome.end not in ({OTHERWISE[name]} if name in OTHERWISE else wanted(expected))
    }
    assert wrong == {}


def test_time_and_memory_are_bounded(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert over_limits({name: outcome for name, (outcome, _) in outcomes.items()}) == {}


def test_nothing_is_touched_beside_the_file(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert {name: o.asides for name, (o, _) in outcomes.items() if o.asides} == {}


def test_answers_stay_short_and_tell_no_other_file(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    for name, (outcome, _) in outcomes.items():
        assert len(outcome.text) < 1000, name
        assert "root:" not in outcome.text, name


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("count_too_low.stl", "all 12 were read"),
        ("polyglot_stl_zip.stl", "987 bytes"),
        ("polyglot_stl_zip.3mf", "987 bytes"),
        ("polyglot_ascii_stl_dxf.stl", "left out"),
        ("ascii_no_endsolid.stl", "endsolid"),
        ("zip_encrypted_flag.3mf", "encrypted"),
        ("png_named.3mf", "PNG"),
        ("html_named.stl", "HTML"),
        ("gzip_named.stl", "gzip"),
        ("empty.stl", "empty"),
        ("unit_unknown.3mf", "furlong"),
        ("no_endsec.step", "closing line"),
        ("dangling_refs.step", "does not hold"),
        ("nan_numbers.step", "NAN"),
        ("huge_numbers.step", "impossible"),
        ("truncated_mid_entity.step", "cut off"),
        ("iges_named.step", "IGES"),
    ],
)
def test_the_reason_is_the_right_one(outcomes: dict[str, tuple[Outcome, str]], name: str, words: str) -> None:
    assert words in outcomes[name][0].text


@pytest.mark.parametrize(
    "name", ["solid_but_binary.stl", "good_box.3mf", "unit_absent.3mf", "mirror_transform.3mf", "ascii_upper_crlf.stl"]
)
def test_good_boxes_are_ten_mm(outcomes: dict[str, tuple[Outcome, str]], name: str) -> None:
    assert outcomes[name][0].size_mm == (10, 10, 10)
    assert outcomes[name][0].triangles == 12
