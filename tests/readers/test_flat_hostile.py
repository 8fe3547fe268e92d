"""Hostile DXF and SVG files end as their index says, quickly, in bounded memory, with nothing touched beside them."""

from __future__ import annotations

import pytest
from parts.fenced import Outcome, over_limits, read_all
from parts.hostile_files import Hostile

pytestmark = pytest.mark.needs_shared

#: Name of the file, and how its reading must end, where the index leaves both ways open or several words are needed.
ENDS = {
    "truncated_mid_entity.dxf": "unreadable", "insert_scale_zero.dxf": "unreadable",
    "spline_knots_decreasing.dxf": "unreadable", "spline_degree_200.dxf": "unreadable", "no_eof.dxf": "part",
    "units_absent.dxf": "part", "units_zero.dxf": "part", "units_99.dxf": "part", "units_miles.dxf": "part",
    "cr_only.dxf": "part", "binary_r12.dxf": "part", "lines_60000.dxf.gz": "part", "path_200k.svg.gz": "part",
    "viewbox_zero.svg": "unreadable", "viewbox_px_no_unit.svg": "part", "size_percent.svg": "part",
    # All that its path draws comes after the first error.
    "path_bad_tokens.svg": "unreadable", "dxf_named.svg": "part", "svg_named.dxf": "part",
    # One entity escapes into the file system: the rest of the drawing is not worth the risk.
    "xxe.svg": "unreadable", "external_refs.svg": "part", "script_and_handlers.svg": "part",
    # Told by content: an ASCII STL.
    "polyglot_ascii_stl_dxf.stl": "part",
}  # fmt: skip
SAYS = {
    "truncated_mid_entity.dxf": "breaks off", "no_eof.dxf": "EOF", "z_not_zero.dxf": "not flat",
    "circle_radius_zero_negative.dxf": "radius -3", "insert_missing_block.dxf": "NOPE", "units_miles.dxf": "no part is",
    "only_text.dxf": "nothing to cut", "dwg_named.dxf": "DWG", "odd_group_code.dxf": "xyz",
    "block_doubling_2e30.dxf": "limit", "block_self_recursive.dxf": "contains itself", "coords_nan.dxf": "nan",
    "billion_laughs.svg": "entities", "deep_groups_20k.svg": "nested", "use_recursive.svg": "back to itself",
    "use_doubling_2e30.svg": "more than", "viewbox_zero.svg": "no size", "nonuniform_scale.svg": "stretched",
    "only_image.svg": "nothing to cut", "external_refs.svg": "out of the file", "path_bad_tokens.svg": "damaged",
}  # fmt: skip
SIZES = {
    "good_square.dxf": (50, 50, 0), "good_square.svg": (50, 50, 0), "nonuniform_scale.svg": (100, 50, 0),
    "utf8_bom.dxf": (50, 50, 0), "comments_999.dxf": (50, 50, 0), "mirrored_extrusion.dxf": (50, 50, 0),
    "arc_full_turn.dxf": (6, 6, 0), "polyglot_999.dxf": (50, 50, 0),
}  # fmt: skip


@pytest.fixture(scope="module")
def outcomes(hostile: dict[str, Hostile]) -> dict[str, tuple[Outcome, str]]:
    found = {}
    for ending, warm in ((".dxf", "lintsvc.readers.dxf_entities"), (".svg", "lintsvc.readers.svg_elements")):
        files = {n: x for n, x in hostile.items() if n.removesuffix(".gz").endswith(ending)}
        read = read_all([x.path for x in files.values()], warm)
        found |= {n: (outcome, files[n].expected) for n, outcome in zip(files, read, strict=True)}
    return found


def wanted(name: str, expected: str) -> set[str]:
    if name in ENDS:
        return {ENDS[name]}
    if expected.startswith("reject") and "or" not in expected.split(":")[0].split():
        return {"unreadable"}
    return {"part"} if expected.startswith(("accept", "warn")) else {"part", "unreadable"}


def test_every_file_ends_as_its_index_says(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert len(outcomes) >= 60
    wrong = {n: (o.end, o.text, e) for n, (o, e) in outcomes.items() if o.end not in wanted(n, e)}
    assert wrong == {}


def test_time_and_memory_are_bounded(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert over_limits({name: outcome for name, (outcome, _) in outcomes.items()}) == {}


def test_nothing_is_touched_beside_the_file(outcomes: dict[str, tuple[Outcome, str]]) -> None:
    assert {n: o.asides for n, (o, _) in outcomes.items() if o.asides} == {}


@pytest.mark.parametrize("name", SAYS)
def test_the_reason_is_the_right_one(outcomes: dict[str, tuple[Outcome, str]], name: str) -> None:
    text = outcomes[name][0].text
    assert SAYS[name] in text
    assert len(text) < 1000
    assert "root:" not in text


@pytest.mark.parametrize("name", SIZES)
def test_good_files_have_their_size(outcomes: dict[str, tuple[Outcome, str]], name: str) -> None:
    assert outcomes[name][0].size_mm == pytest.approx(SIZES[name])
