"""DXF as a file: versions, text and binary, line ends, units, and files that break off."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from parts import flatfiles as made
from parts.reading import read_bytes, read_file

from lintsvc.model.part import Part, Unreadable

SQUARE = made.rectangle(50, 50) + made.circle(20, 20, 5)


def all_points(part: Part) -> np.ndarray:
    return np.concatenate([made.points_of(s) for e in made.drawn(part) for s in e.shapes])


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("form", ["asc", "bin"])
def test_every_version_reads_alike(tmp_path: Path, version: str, form: str) -> None:
    import ezdxf

    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 4
    document.layers.add("BEND_UP", color=3)
    space = document.modelspace()
    space.add_line((0, 0), (40, 0))
    space.add_line((20, 0), (20, 30), dxfattribs={"layer": "BEND_UP"})
    space.add_circle((30, 10), 2.5)
    space.add_arc((0, 0), 12, 10, 80)
    space.add_polyline2d([(0, 0, 0.5), (40, 30, 0)], format="xyb")
    space.add_text("SLOT")
    if version != "R12":
        space.add_lwpolyline([(0, 0), (9, 0, 0, 0, 1), (9, 9)], close=True)
        space.add_ellipse((5, 5), (3, 0), 0.5)
        space.add_spline([(0, 0, 0), (5, 9, 0), (9, 1, 0), (14, 3, 0)])
        space.add_mtext("UP {\\fArial|b0;90%%d}")
    document.saveas(tmp_path / "made.dxf", fmt=form)
    part = read_file(tmp_path / "made.dxf", units="mm")
    assert [x.kind for x in made.drawn(part)][:5] == ["line", "line", "circle", "arc", "polyline"]
    bend = made.drawn(part)[1]
    assert (bend.role, bend.bend_direction, bend.colour, bend.rgb) == ("bend", "up", 3, "#00ff00")
    assert all_points(part)[:2].tolist() == [[0, 0], [40, 0]]
    if version != "R12":
        assert [x.kind for x in made.drawn(part)][5:] == ["lwpolyline", "ellipse", "spline"]
        text = io.StringIO()
        document.write(text)
        again = read_bytes(tmp_path, text.getvalue(), units="mm")
        np.testing.assert_allclose(all_points(again), all_points(part), atol=1e-12)


def test_file_that_breaks_off_is_never_read_as_whole(tmp_path: Path) -> None:
    text = made.dxf(SQUARE)
    whole = read_bytes(tmp_path, text)
    seen = set()
    for cut in range(40, len(text) - 1):
        try:
            part = read_bytes(tmp_path, text[:cut])
        except Unreadable as error:
            seen.add(error.why)
            continue
        # Only the closing EOF is missing: all entities are there, and the report says so.
        assert all_points(part).tolist() == all_points(whole).tolist()
        assert "EOF" in made.notes(part, "recovered")[0] or text[:cut].rstrip().endswith("EOF")
    assert any("breaks off in its ENTITIES" in why for why in seen)


def test_binary_file_that_breaks_off_is_refused(tmp_path: Path) -> None:
    import ezdxf

    document = ezdxf.new("R2000")
    document.modelspace().add_line((0, 0), (50, 0))
    document.saveas(tmp_path / "whole.dxf", fmt="bin")
    data = (tmp_path / "whole.dxf").read_bytes()
    for cut in range(30, len(data) - 12, 311):
        with pytest.raises(Unreadable):
            read_bytes(tmp_path, data[:cut])


@pytest.mark.parametrize("end", ["\r\n", "\r", " \n"])
def test_line_ends_and_blanks_do_not_matter(tmp_path: Path, end: str) -> None:
    part = read_bytes(tmp_path, made.dxf(SQUARE).replace("\n", end))
    assert part.size_mm == (50, 50, 0)


def test_large_file_is_the_same_whatever_its_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = made.dxf(SQUARE + made.polyline([(i % 7, i % 5, 0.2) for i in range(200)]))
    whole = read_bytes(tmp_path, text)
    for size in (10, 37, 256, 1000):
        monkeypatch.setattr("lintsvc.readers.dxf_tags._CHUNK", size)
        part = read_bytes(tmp_path, text)
        assert part.sheet == whole.sheet


def test_comments_before_everything_are_skipped(tmp_path: Path) -> None:
    comments = made.tags(*((999, "solid " + "x" * 200) for _ in range(100)))
    assert read_bytes(tmp_path, comments + made.dxf(SQUARE)).size_mm == (50, 50, 0)


@pytest.mark.parametrize(
    ("code", "unit", "size"),
    [
        (1, "in", 1270),
        (2, "ft", 15240),
        (4, "mm", 50),
        (5, "cm", 500),
        (6, "m", 50000),
        (9, "mil", 1.27),
        (14, "dm", 5000),
    ],
)
def test_stated_unit_is_taken(tmp_path: Path, code: int, unit: str, size: float) -> None:
    part = read_bytes(tmp_path, made.dxf(SQUARE, units=code))
    assert (part.units.value, part.units.stated) == (unit, True)
    assert part.size_mm == pytest.approx((size, size, 0))


def test_sizes_of_units_are_those_of_ezdxf() -> None:
    """`ezdxf.units` has its own table of $INSUNITS."""
    from ezdxf import units

    from lintsvc.model.units import MM_PER_UNIT
    from lintsvc.readers.dxf import _UNITS

    for code, name in _UNITS.items():
        # ezdxf has no size for the mil (code 9).
        if code <= 20 and code != 9:
            assert MM_PER_UNIT[name] == pytest.approx(units.conversion_factor(code, units.MM)), code
    # The US survey foot, 1200/3937 m by definition (Mendenhall order), and what hangs on it.
    survey = 1_200_000 / 3937
    for code, feet in ((21, 1), (22, 1 / 12), (23, 3), (24, 5280)):
        assert MM_PER_UNIT[_UNITS[code]] == pytest.approx(feet * survey, rel=3e-6), code


@pytest.mark.parametrize("code", [None, 0, 99, 20, -1])
def test_unstated_unit_is_doubtful(tmp_path: Path, code: int | None) -> None:
    part = read_bytes(tmp_path, made.dxf(SQUARE, units=code))
    assert (part.units.value, part.units.stated, part.units.other) == ("mm", False, "in")
    if code not in (None, 0):
        assert f"$INSUNITS {code}" in part.units.why


def test_doubtful_unit_that_is_no_mm_still_keeps_the_tolerance(tmp_path: Path) -> None:
    oval = made.entity("ELLIPSE", (10, 0), (20, 0), (11, 0.9), (21, 0), (40, 0.5), (41, 0), (42, 6.283185307179586))
    part = read_bytes(tmp_path, made.dxf(oval, units=None))
    factor = part.units.mm_per_unit
    assert factor > 1
    angle = np.linspace(0, 2 * np.pi, 3000)
    true = factor * np.column_stack([0.9 * np.cos(angle), 0.45 * np.sin(angle)])
    assert part.sheet is not None
    assert made.furthest(true, made.drawn(part)[0].shapes) <= part.sheet.chord_tolerance_mm + 1e-9
    assert part.sheet.chord_tolerance_mm <= 0.01


def test_the_users_word_goes_before_the_header(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(SQUARE, units=4), units="in")
    assert part.units.value == "in"
    assert part.size_mm[0] == pytest.approx(1270)


def test_impossible_size_is_noticed(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(SQUARE, units=3))
    assert "no part is" in made.notes(part, "info")[0]


def test_decimal_comma_is_read_and_said(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(made.entity("LINE", (10, "0,5"), (20, 0), (11, "12,5"), (21, "3,25"))))
    assert made.ends_of(made.only(part)) == ((0.5, 0), (12.5, 3.25))
    assert "decimal comma" in made.notes(part, "recovered")[0]


@pytest.mark.parametrize("word", ["nan", "inf", "-inf", "ten"])
def test_coordinate_that_is_no_number_is_refused(tmp_path: Path, word: str) -> None:
    with pytest.raises(Unreadable, match="damaged") as caught:
        read_bytes(tmp_path, made.dxf(made.entity("LINE", (10, word), (20, 0), (11, 1), (21, 1))))
    assert "line" in caught.value.where


def test_names_in_an_old_code_page(tmp_path: Path) -> None:
    text = made.dxf(SQUARE + made.line((9, 0), (9, 50), layer="BIEGUNG_AUFWÄRTS"), version="AC1009")
    text = text.replace("9\n$INSUNITS", "9\n$DWGCODEPAGE\n3\nANSI_1252\n9\n$INSUNITS")
    bend = made.drawn(read_bytes(tmp_path, text.encode("cp1252")))[-1]
    assert (bend.layer, bend.role, bend.bend_direction) == ("BIEGUNG_AUFWÄRTS", "bend", "up")


def test_lwpolyline_without_subclass_marker_is_read(tmp_path: Path) -> None:
    # ezdxf refuses it; the corpus has such a file.
    assert read_bytes(tmp_path, made.dxf(made.polyline([(0, 0), (9, 0), (9, 9)]))).size_mm == (9, 9, 0)
