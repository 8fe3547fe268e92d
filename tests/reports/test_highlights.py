"""Which highlights a part gets, and that their names are safe to write."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from parts import reports

from lintsvc.reports.highlights import highlights, safe_stem, write_highlights


def test_body_gets_glb_and_flat_gets_svg_and_dxf() -> None:
    assert highlights(reports.housing_part(), [reports.thin_wall()]).keys() == {"glb"}
    assert highlights(reports.bracket_part(), [reports.small_hole()]).keys() == {"svg", "dxf"}


def test_unfolded_solid_gets_all_three() -> None:
    both = replace(reports.bracket_part(), body=reports.housing_part().body)
    assert highlights(both, []).keys() == {"glb", "svg", "dxf"}


def test_files_are_written_under_the_stem(tmp_path: Path) -> None:
    written = write_highlights(tmp_path, "bracket", reports.bracket_part(), [])
    assert sorted(x.name for x in tmp_path.iterdir()) == ["bracket.highlights.dxf", "bracket.highlights.svg"]
    assert sorted(written) == sorted(tmp_path.iterdir())


def test_two_parts_of_one_name_get_two_stems() -> None:
    taken: set[str] = set()
    assert [safe_stem(x, taken) for x in ("a.stl", "A.STL", "a.stl")] == ["a.stl", "A.STL-2", "a.stl-3"]


def test_device_names_and_hidden_names_are_changed() -> None:
    assert safe_stem("con.stl", set()) == "part-con.stl"
    assert safe_stem("..hidden", set()) == "hidden"
    assert safe_stem("///", set()) == "part"


@given(st.text())
def test_any_name_gives_a_stem_that_stays_in_its_folder(name: str) -> None:
    stem = safe_stem(name, set())
    assert re.fullmatch(r"[\w.+-]+", stem)
    assert not stem.startswith(".")
    assert len(stem.encode()) <= 120
    assert Path("folder", stem).parent == Path("folder")
