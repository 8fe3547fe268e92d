"""What is in a DXF and is no contour is noticed, not swallowed."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Part, Unreadable

SQUARE = made.rectangle(50, 50)


def read(folder: Path, entities: str, layers: str = "") -> Part:
    return read_bytes(folder, made.dxf(SQUARE + entities, layers=layers))


@pytest.mark.parametrize(
    ("entity", "kind", "words"),
    [
        (made.entity("TEXT", (10, 1), (20, 2), (40, 3), (1, "CUT")), "live-text", "1 text is text"),
        (made.entity("MTEXT", (10, 1), (20, 2), (40, 3), (1, "CUT")), "live-text", "1 text is text"),
        (made.entity("POINT", (10, 1), (20, 2)), "stray", "1 point"),
        (made.line((3, 3), (3, 3)), "stray", "a line without length"),
        (made.circle(1, 1, 0), "stray", "radius 0"),
        (made.circle(1, 1, -3), "stray", "radius -3"),
        (made.polyline([(1, 1)]), "stray", "a polyline without length"),
        (made.entity("DIMENSION", (10, 1), (20, 2)), "ignored", "1 dimension"),
        (made.entity("LEADER", (10, 1), (20, 2)), "ignored", "1 leader"),
        (made.entity("HATCH", (10, 0), (20, 0), (91, 1), (92, 2), (93, 4)), "ignored", "1 hatch is"),
        (made.entity("IMAGE", (10, 1), (20, 2)), "ignored", "1 picture"),
        (made.entity("3DSOLID"), "ignored", "1 solid"),
        (made.entity("SOMETHING_NEW"), "ignored", "SOMETHING"),
        (made.line((0, 0), (9, 9), (67, 1)), "ignored", "paper space"),
        (made.line((0, 0, 5), (9, 9, 5)), "not-flat", "at z = 5 mm"),
        (made.line((0, 0, 0), (9, 9, 5)), "not-flat", "z from 0 to 5 mm"),
        (made.circle(9, 9, 2, (210, 1), (220, 0), (230, 1)), "not-flat", "not flat"),
        (made.polyline([(1, 1), (9, 9)]) .replace("0\nLWPOLYLINE", "0\nLWPOLYLINE\n43\n2.5"), "info", "a width"),
    ],
)  # fmt: skip
def test_is_noticed(tmp_path: Path, entity: str, kind: str, words: str) -> None:
    part = read(tmp_path, entity)
    assert any(words in text for text in made.notes(part, kind)), part.notes
    assert part.size_mm[1] == 50


def test_notes_name_the_entities_and_the_place(tmp_path: Path) -> None:
    part = read(tmp_path, made.entity("POINT", (10, 7), (20, 8)) * 3)
    (note,) = [x for x in part.notes if x.kind == "stray"]
    assert (note.count, note.entities, note.point_mm) == (3, (4, 5, 6), (7, 8, 0))


def test_numerical_noise_in_z_is_flat(tmp_path: Path) -> None:
    assert made.notes(read(tmp_path, made.line((0, 0, 1e-15), (9, 9, -2e-12))), "not-flat") == []


def test_elevation_on_a_mirrored_plane_is_seen(tmp_path: Path) -> None:
    part = read(tmp_path, made.circle(-9, 9, 2, (30, 4), (210, 0), (220, 0), (230, -1)))
    assert "z = -4 mm" in made.notes(part, "not-flat")[0]


@pytest.mark.parametrize(("row", "word"), [(((70, 1),), "frozen"), (((62, -7),), "switched off")])
def test_hidden_layers_are_not_cut_and_said(tmp_path: Path, row: tuple[tuple[int, object], ...], word: str) -> None:
    part = read(tmp_path, made.line((0, 0), (200, 0), layer="X"), made.layer_row("X", *row))
    assert made.drawn(part)[-1].role == "note"
    assert word in made.notes(part, "ignored")[0]
    assert part.size_mm == (50, 50, 0)


def test_drawing_that_is_hidden_as_a_whole_is_still_read(tmp_path: Path) -> None:
    layers = made.layer_row("0", (70, 1))
    part = read_bytes(tmp_path, made.dxf(SQUARE, layers=layers))
    assert {x.role for x in made.drawn(part)} == {"unclear"}
    assert "4 entities are taken as contours" in made.notes(part, "recovered")[0]


def test_text_loses_its_formatting(tmp_path: Path) -> None:
    text = made.entity(
        "MTEXT", (10, 1), (20, 2), (40, 3), (3, "{\\fArial|b0|i0;UP\\P}"), (1, "\\H0.7x;90%%d \\U+00B11")
    )
    part = read(tmp_path, text)
    assert part.sheet is not None
    assert part.sheet.entities[-1].text == "UP 90° ±1"


def test_control_characters_do_not_leave_the_reader(tmp_path: Path) -> None:
    part = read(tmp_path, made.line((0, 0), (9, 0), layer="A\x1b[31mB\x07"))
    assert made.drawn(part)[-1].layer == "A [31mB"


@pytest.mark.parametrize("entities", ["", made.entity("TEXT", (10, 0), (20, 0), (1, "x")), made.circle(0, 0, 0)])
def test_nothing_to_cut_is_refused(tmp_path: Path, entities: str) -> None:
    with pytest.raises(Unreadable, match="nothing to cut"):
        read_bytes(tmp_path, made.dxf(entities))


def test_counts_that_cannot_be_true_are_refused(tmp_path: Path) -> None:
    for entity in (
        made.entity("HATCH", (91, 2_000_000_000)),
        made.entity("SPLINE", (71, 3), (72, 2_000_000_004), (73, 2_000_000_000), (40, 0), (10, 0), (20, 0)),
        made.polyline([(0, 0, 1e308), (9, 9)]),
    ):
        with pytest.raises(Unreadable):
            read(tmp_path, entity)
