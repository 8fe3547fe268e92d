"""1:1 prints by the command and in the packet, measured on the rendered page: 100 mm is 100 mm to 0.1 %."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from ezdxf.filemanagement import new
from parts import gauge_order
from parts.command import lintsvc

from lintsvc.packet.write import packet_files
from lintsvc.reports.one_to_one import BAR_ROOM_MM, MARGIN_MM, OVERLAP_MM, Paper, area_mm

DPI = 600
PX_PER_MM = DPI / 25.4
LEFT = FOOT = MARGIN_MM + BAR_ROOM_MM


def pages_of(data: bytes) -> list[np.ndarray]:
    """Outside check: pdfium's pixels."""
    document = pypdfium2.PdfDocument(data)
    pages = [page.render(scale=DPI / 72, grayscale=True).to_numpy().squeeze() for page in document]
    document.close()
    return pages


def upright_lines_mm(page: np.ndarray, long_mm: float) -> list[float]:
    """Middles (mm from the left) of upright lines at least so long, in the drawing area."""
    dark = (page < 128).sum(axis=0)
    hits = np.flatnonzero(dark >= long_mm * PX_PER_MM)
    hits = hits[hits > (LEFT - 1) * PX_PER_MM]
    groups = np.split(hits, np.flatnonzero(np.diff(hits) > 2) + 1)
    return [(float(x.mean()) + 0.5) / PX_PER_MM for x in groups if len(x)]


def plate(path: Path, width: float, height: float) -> Path:
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 4
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (width, 0), (width, height), (0, height)], close=True)
    space.add_circle((width / 2, height / 2), 5.0)
    drawing.saveas(path)
    return path


@pytest.mark.parametrize(
    ("paper", "offset", "width"), [("A4", "0mm", 100.0), ("Letter", "0.5mm", 101.0), ("A4", "-1mm", 98.0)]
)
def test_printed_width_is_the_true_one_with_its_offset(tmp_path, paper: Paper, offset: str, width: float) -> None:
    file = plate(tmp_path / "pad.dxf", 100.0, 60.0)
    done = lintsvc("print", file, "--paper", paper, "--offset", offset, "--output", "pad.pdf", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    (page,) = pages_of((tmp_path / "pad.pdf").read_bytes())
    left, right = upright_lines_mm(page, 50.0)
    assert right - left == pytest.approx(width, rel=1e-3)


def test_pages_laid_mark_on_mark_give_the_whole(tmp_path) -> None:
    file = plate(tmp_path / "long.dxf", 300.0, 120.0)
    assert lintsvc("print", file, "--output", "long.pdf", cwd=tmp_path).returncode == 0
    first, second = pages_of((tmp_path / "long.pdf").read_bytes())
    wide, _ = area_mm("A4")
    (left,) = upright_lines_mm(first, 100.0)
    (right,) = upright_lines_mm(second, 100.0)
    # The marks stand in the middle of the shared strip: at the right of the first page, at the left of the second.
    before, after = LEFT + wide - OVERLAP_MM / 2, LEFT + OVERLAP_MM / 2
    for page, at in ((first, before), (second, after)):
        column = page[:, round(at * PX_PER_MM)]
        # Two crosses of 8 mm, and the outline's two lines.
        assert (column < 128).sum() / PX_PER_MM > 12
    assert (before - left) + (right - after) == pytest.approx(300.0, rel=1e-3)


def test_every_page_says_which_it_is_and_what_was_done_to_the_outline_however_long_the_name(tmp_path) -> None:
    file = plate(tmp_path / f"{'gasket-of-the-housing-' * 6}.dxf", 300.0, 120.0)
    assert lintsvc("print", file, "--offset", "-0.5mm", "--output", "long.pdf", cwd=tmp_path).returncode == 0
    document = pypdfium2.PdfDocument(tmp_path / "long.pdf")
    for number, page in enumerate(document, 1):
        text = page.get_textpage()
        words = text.get_text_bounded()
        assert "1:1, moved 0.5 mm inwards: outside smaller, holes larger" in words
        assert f"page {number} of 2: column {number} of 2, row 1 of 1 from below" in words
        assert "Lay the marks of pages that adjoin on each other." in words
        # Nothing stands in the margin that printers leave white.
        rights = [text.get_charbox(i)[2] for i in range(text.count_chars())]
        assert max(rights) <= (210.0 - MARGIN_MM) * 72 / 25.4
    document.close()
    assert lintsvc("print", plate(tmp_path / "pad.dxf", 90.0, 60.0), cwd=tmp_path).returncode == 0
    document = pypdfium2.PdfDocument(tmp_path / "pad.1to1.pdf")
    words = document[0].get_textpage().get_text_bounded()
    assert "1:1, as drawn" in words
    assert "one page" in words
    assert "adjoin" not in words
    document.close()


def test_template_has_crosses_where_holes_are(tmp_path) -> None:
    file = plate(tmp_path / "pad.dxf", 100.0, 60.0)
    plain, crossed = (tmp_path / x for x in ("a.pdf", "b.pdf"))
    assert lintsvc("print", file, "--output", plain, cwd=tmp_path).returncode == 0
    assert lintsvc("print", file, "--template", "--output", crossed, cwd=tmp_path).returncode == 0
    (a,), (b,) = pages_of(plain.read_bytes()), pages_of(crossed.read_bytes())
    rows, columns = np.nonzero(np.abs(a.astype(int) - b.astype(int)) > 60)
    left, right = upright_lines_mm(a, 50.0)
    assert (columns.min() + columns.max() + 1) / 2 / PX_PER_MM == pytest.approx((left + right) / 2, abs=0.05)
    assert (columns.max() - columns.min()) / PX_PER_MM == pytest.approx(6.0, abs=0.2)
    assert (rows.max() - rows.min()) / PX_PER_MM == pytest.approx(6.0, abs=0.2)


def test_packet_holds_the_print_of_the_gasket(tmp_path) -> None:
    order, drawn = gauge_order.checked(gauge_order.write_order(tmp_path))
    (page,) = pages_of(packet_files(order, drawn)["parts/gasket/outline-1to1.pdf"])
    lines = upright_lines_mm(page, 50.0)
    assert lines[-1] - lines[0] == pytest.approx(100.0, rel=1e-3)
    (moved,) = pages_of(packet_files(order, drawn, offset_mm=0.25)["parts/gasket/outline-1to1.pdf"])
    lines = upright_lines_mm(moved, 50.0)
    assert lines[-1] - lines[0] == pytest.approx(100.5, rel=1e-3)


def test_command_says_why_nothing_is_printed(tmp_path) -> None:
    file = plate(tmp_path / "pad.dxf", 100.0, 60.0)
    done = lintsvc("print", file, "--offset", "-40mm", cwd=tmp_path)
    assert done.returncode == 2
    assert "leaves nothing of the outline" in done.stderr
    (tmp_path / "bad.dxf").write_text("0\nSECTION\n", "utf-8")
    done = lintsvc("print", "bad.dxf", cwd=tmp_path)
    assert done.returncode == 2
    assert "not printed" in done.stderr
    done = lintsvc("print", file, "--offset", "much", cwd=tmp_path)
    assert done.returncode == 2
    assert "is no length" in done.stderr
