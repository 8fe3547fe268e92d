"""The packet: what a maker reads of each part, the same in PDF, HTML and text, and the same bytes every time."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile

import pypdfium2
import pytest
from parts import gauge_order
from parts.command import lintsvc
from parts.packet_texts import html_text, pdf_text

from lintsvc.packet.write import PacketError, inspection_sheets, packet_files, zipped
from lintsvc.reports.sketch import Words


def test_everything_a_maker_needs_is_there(files) -> None:
    assert sorted(files) == sorted(
        [
            "SHA256SUMS",
            "notes.txt",
            "order.html",
            "order.pdf",
            "results.csv",
            *(f"parts/{x}/{name}" for x in ("bracket", "lid", "gasket") for name in ("part.pdf", "part.html")),
            *(f"parts/{x}/{name}" for x in ("bracket", "lid", "gasket") for name in ("inspection.pdf", "notes.txt")),
            "parts/bracket/bracket.dxf",
            "parts/lid/lid.stl",
            "parts/gasket/gasket.dxf",
            "parts/gasket/outline-1to1.pdf",
        ]
    )


@pytest.mark.parametrize("form", ["pdf", "html"])
def test_page_of_the_bracket_says_what_is_to_be_made(order, files, form) -> None:
    data = files[f"parts/bracket/part.{form}"]
    text = pdf_text(data) if form == "pdf" else html_text(data)
    for words in (
        "bracket: bracket.dxf",
        hashlib.sha256(files["parts/bracket/bracket.dxf"]).hexdigest(),
        "3 (2 and 1 spare)",
        "Aluminium 5052-H32 (aluminium-5052-h32)",
        "2.5 mm",
        "flat 60 × 135.77 mm; folded 86 × 60 × 57.5 mm outside",
        # The bend table, with directions, and the picture of the folded part.
        "B1 down 90° 4 mm 0.407 60 mm x 30 y 29.44",
        "B2 up 90° 4 mm 0.407 38 mm x 30 y 110.32",
        "Folded, the largest panel lying as in the flat.",
        # Threads and countersinks.
        "tapped M4x0.7",
        "thread M5x0.8 4.2 mm tap drill 4.2 mm",
        "countersunk for M4 from above 6.6 mm 90°, 8.96 mm across",
        # Tolerances, what was checked.
        "89 to 91°",
        "0 rules checked: no findings.",
    ):
        assert words in text, words


def test_picture_carries_the_sizes_and_names(order) -> None:
    _, drawn = order
    picture, folded = drawn["bracket"].picture, drawn["bracket"].folded
    assert picture is not None
    assert folded is not None
    words = [x.text for x in picture.items if isinstance(x, Words)]
    assert {"60 mm", "135.77 mm", "B1 down 90°", "B2 up 90°"} <= set(words)
    # Two M4, two M5, three plain 6.6 and one that is countersunk, one of 16.
    assert sorted(x for x in words if len(x) == 1) == sorted("AACCDDDEF")
    assert {x.text for x in folded.items if isinstance(x, Words)} == {
        "60 mm",
        "86 mm",
        "57.5 mm",
        "B1 down 90°",
        "B2 up 90°",
    }


def test_notes_to_paste_name_file_hash_bends_and_threads(files) -> None:
    text = files["notes.txt"].decode()
    assert {x for x in text if not x.isascii()} <= {"°"}
    assert max(map(len, text.splitlines())) <= 110
    flat = " ".join(text.split())
    assert "SHA-256 " + hashlib.sha256(files["parts/lid/lid.stl"]).hexdigest() in flat
    assert "B1 down 90°, inside radius 4 mm, at x 30 y 29.4 B2 up 90°, inside radius 4 mm, at x 30 y 110.3" in flat
    assert "Tap M4x0.7 in 2 holes of 3.3 mm: x 19 y 125.3; x 41 y 125.3" in flat
    assert "Countersunk for M4 from above: 1 hole of 6.6 mm" in flat
    assert "Needed by 2026-03-27." in flat


def test_packet_is_the_same_bytes_again(order, files) -> None:
    again = packet_files(*order)
    assert again == files
    assert zipped(again) == zipped(dict(reversed(list(files.items()))))


def test_zip_is_read_by_another_library_and_its_sums_hold(files) -> None:
    with zipfile.ZipFile(io.BytesIO(zipped(files))) as packet:
        assert packet.testzip() is None
        assert {x.date_time for x in packet.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        found = {x: packet.read(x) for x in packet.namelist()}
    assert found == files
    sums = dict(reversed(x.split("  ")) for x in found.pop("SHA256SUMS").decode().splitlines())
    assert sums == {name: hashlib.sha256(data).hexdigest() for name, data in found.items()}


def test_file_of_the_packet_is_the_file_that_was_checked(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path)
    order = gauge_order.checked(path)
    (tmp_path / "lid.stl").write_bytes(b"solid other")
    with pytest.raises(PacketError, match="changed while the packet was made"):
        packet_files(*order)


def test_part_that_cannot_be_read_is_told_and_not_left_out(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path)
    (tmp_path / "lid.stl").write_bytes(b"solid\nfacet nor")
    files = packet_files(*gauge_order.checked(path))
    assert "UNREADABLE" in pdf_text(files["parts/lid/part.pdf"])
    assert files["parts/lid/lid.stl"] == b"solid\nfacet nor"
    assert "parts/lid/inspection.pdf" not in files


def test_unknown_bend_is_said_where_it_cannot_be_missed(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path, faulty=True)
    flat = path.parent / "bracket.dxf"
    # Its layer's name tells the angle and the radius, and no direction: here it tells none of them.
    flat.write_text(flat.read_text().replace("BEND-90DEG-R4", "BEND"))
    files = packet_files(*gauge_order.checked(path))
    text = pdf_text(files["parts/bracket/part.pdf"])
    assert "B2 NOT SAID NOT SAID NOT SAID" in text
    assert "No picture of the folded part" in text
    assert "B2 DIRECTION NOT SAID ANGLE NOT SAID, inside radius not said" in " ".join(
        files["parts/bracket/notes.txt"].decode().split()
    )


def test_what_the_finish_must_not_cover_is_said(tmp_path) -> None:
    thing = '[[bought]]\nid = "stud"\nshape = "cylinder"\ndiameter = "15mm"\nheight = "5mm"\n'
    holds = (
        '[[relation]]\nkind = "holds"\npart = "bracket"\nthing = "stud"\nplay = 0.1\nat = [0, 70, 1]\nmasked = true\n'
    )
    path = gauge_order.write_order(tmp_path, more=thing + holds)
    path.write_text(
        path.read_text("utf-8").replace('thickness = "2.5mm"', 'thickness = "2.5mm"\nfinish = "paint"'), "utf-8"
    )
    files = packet_files(*gauge_order.checked(path))
    said = "the place of stud, about 0 70 1 mm"
    assert f"Keep free of finish {said}" in pdf_text(files["parts/bracket/part.pdf"])
    assert f"Keep free of finish: {said}" in files["parts/bracket/notes.txt"].decode()


def test_findings_set_aside_and_not_checked_each_have_their_place(tmp_path) -> None:
    from dataclasses import replace

    from parts import reports

    from lintsvc.model.finding import NotChecked

    order, drawn = gauge_order.checked(gauge_order.write_order(tmp_path))
    first, *rest = order.parts
    found = reports.small_hole()
    report = replace(
        first.report,
        findings=(found, replace(found, set_aside="The shop drills it.")),
        not_checked=(NotChecked("sheet/web-too-thin", "no limit is known"),),
        checked=("sheet/hole-too-small",),
    )
    order = replace(order, parts=(replace(first, report=report), *rest))
    text = pdf_text(packet_files(order, drawn)["parts/bracket/part.pdf"])
    assert f"{found.level.upper()} {found.rule}: {found.message}" in text
    assert "Set aside: The shop drills it." in text
    assert "Not checked no limit is known: sheet/web-too-thin" in text
    assert "; 1 rule not checked." in text
    assert "Rules checked: sheet: hole-too-small." in text


def test_part_with_an_error_is_said_to_be_not_ready_wherever_it_is_read(order) -> None:
    from dataclasses import replace

    from parts import reports

    checked, drawn = order
    first, *rest = checked.parts
    found = replace(reports.small_hole(), level="error")

    def made(*findings) -> dict[str, bytes]:
        report = replace(first.report, findings=findings)
        return packet_files(replace(checked, parts=(replace(first, report=report), *rest)), drawn)

    files = made(found)
    said = "NOT READY: 1 error found in this file."
    assert said in pdf_text(files["parts/bracket/part.pdf"])
    assert said in html_text(files["order.html"])
    assert said in files["notes.txt"].decode()
    assert "NOT READY bracket: errors were found; see there" in html_text(files["order.html"])
    files = made(replace(found, level="warning"), replace(found, set_aside="The shop drills it."))
    assert not [name for name, data in files.items() if name.endswith((".html", ".txt")) and b"NOT READY" in data]


def test_part_drawn_in_inches_says_its_sizes_in_both_units(tmp_path) -> None:
    from ezdxf.filemanagement import new

    path = gauge_order.write_order(tmp_path)
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 1
    drawing.modelspace().add_lwpolyline([(0, 0), (6, 0), (6, 4), (0, 4)], close=True)
    drawing.modelspace().add_circle((3, 2), 0.201 / 2)
    drawing.saveas(tmp_path / "gasket.dxf")
    path.write_text(path.read_text("utf-8").replace('"2mm"', '"0.125in"'), "utf-8")
    files = packet_files(*gauge_order.checked(path))
    text = html_text(files["parts/gasket/part.html"])
    for words in ("3.175 mm (0.125 in)", "flat 152.4 × 101.6 mm (6 × 4 in)", "5.11 mm (0.201 in)"):
        assert words in text, words
    notes = files["parts/gasket/notes.txt"].decode()
    # Not 3.2, and not 3.17: that would be another sheet.
    assert "152.4 x 101.6 x 3.175 mm (6 x 4 x 0.125 in)" in notes
    assert "thickness 3.175 mm 2." in html_text(files["parts/gasket/part.html"])
    assert " in)" not in files["parts/lid/notes.txt"].decode()


def test_inspection_sheet_has_a_row_for_each_size_and_room_for_each_piece(order) -> None:
    text = pdf_text(inspection_sheets(*order))
    for words in (
        "Inspection of bracket: bracket.dxf",
        "Piece 1 Piece 2 Piece 3",
        "hole D, 1 of 3, at x 10 y 87.9 6.6 mm 6.5 to 6.7 mm caliper",
        "bend B1 down, angle bent through (90 is square) 90° 89 to 91° protractor",
        "hole A, tapped M4x0.7, each of 2 yes yes the screw itself",
        "hole A, meets gasket with M3, 1 of 4",
        "gloves",
    ):
        assert words in text, words


def test_results_table_has_one_row_a_piece_and_size(files) -> None:
    rows = list(csv.DictReader(io.StringIO(files["results.csv"].decode("utf-8-sig"))))
    assert {x["part"] for x in rows} == {"bracket", "lid", "gasket"}
    bracket = [x for x in rows if x["part"] == "bracket"]
    assert {x["piece"] for x in bracket} == {"1", "2", "3"}
    names = [x["size"] for x in bracket if x["piece"] == "1"]
    assert len(names) == len(set(names))
    assert all(x["measured"] == "" for x in rows)


def test_letter_paper_is_letter(order) -> None:
    document = pypdfium2.PdfDocument(packet_files(*order, paper="Letter")["order.pdf"])
    assert document[0].get_size() == pytest.approx((612.0, 792.0))
    document.close()


def test_command_makes_the_packet_and_says_what_was_found(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path)
    done = lintsvc("packet", path, "--output", tmp_path / "p.zip", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "p.zip: 21 files" in done.stdout
    with zipfile.ZipFile(tmp_path / "p.zip") as packet:
        html = packet.read("parts/bracket/part.html").decode()
    count = re.search(r"(\d+) rules checked", html)
    assert count is not None
    assert int(count[1]) > 20


def test_command_names_the_line_of_a_wrong_order(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path, more='[[suplier]]\nid = "x"\n')
    done = lintsvc("packet", path, cwd=tmp_path)
    assert done.returncode == 2
    assert "did you mean 'supplier'?" in done.stderr
    assert json.dumps(str(path)) not in done.stdout


def test_a_grey_print_can_be_read() -> None:
    """Contrast by WCAG 2.1 (relative luminance): 7 to 1 for small letters; what colours tell, dashes tell as well."""
    from lintsvc.packet.to_pdf import _QUIET
    from lintsvc.reports.picture_flat import BEND_COLOUR, BEND_DASH

    def contrast(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (x / 12.92 if x <= 0.03928 else ((x + 0.055) / 1.055) ** 2.4 for x in parts)
        return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)

    assert min(contrast(x) for x in (_QUIET, BEND_COLOUR["up"], BEND_COLOUR["down"])) > 7
    assert len({BEND_DASH[x] for x in BEND_COLOUR}) == 3
