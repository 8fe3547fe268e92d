"""A drawing says the same as SVG and in a PDF; outside checks read both with other libraries."""

from __future__ import annotations

import io
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import reports
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import SimpleDocTemplate

from lintsvc.model.finding import Where
from lintsvc.reports.picture import picture_sketch
from lintsvc.reports.picture_flat import Note, sized_flat
from lintsvc.reports.picture_sizes import Label, sized_body
from lintsvc.reports.sketch import Ring, Sketch, Stroke, Words, dimension, draw_on, flowable, to_svg

NS = "{http://www.w3.org/2000/svg}"


def pdf_of(sketch: Sketch) -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(sketch.width, sketch.height), invariant=1)
    draw_on(canvas, sketch)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def rendered(data: bytes, scale: float = 4.0) -> tuple[np.ndarray, str]:
    """Outside check: pdfium's picture and words of the first page."""
    document = pypdfium2.PdfDocument(data)
    page = document[0]
    pixels = page.render(scale=scale, grayscale=True).to_numpy().squeeze()
    text = page.get_textpage().get_text_bounded()
    document.close()
    return pixels, text


def words_of(svg: str) -> list[str]:
    return [x.text or "" for x in ET.fromstring(svg).iter(f"{NS}text")]


def test_line_has_its_length_in_the_pdf_and_in_the_svg() -> None:
    sketch = Sketch(100.0, 50.0, (Stroke(((10.0, 20.0), (90.0, 20.0)), "#000000", 2.0),))
    pixels, _ = rendered(pdf_of(sketch))
    dark = np.argwhere(pixels < 128)
    assert np.ptp(dark[:, 1]) / 4 == pytest.approx(80.0, abs=0.5)
    # y grows upwards in a drawing and downwards in a picture.
    assert dark[:, 0].mean() / 4 == pytest.approx(30.0, abs=0.5)
    path = next(ET.fromstring(to_svg(sketch)).iter(f"{NS}path"))
    assert path.get("d") == "M10 30L90 30"


def test_filled_ring_covers_its_area() -> None:
    sketch = Sketch(60.0, 60.0, (Ring((30.0, 30.0), 20.0, "#000000", 2.0, fill="#000000"),))
    pixels, _ = rendered(pdf_of(sketch))
    assert (255.0 - pixels).sum() / 255.0 / 16 == pytest.approx(np.pi * 21**2, rel=0.005)


@pytest.mark.parametrize(
    ("start", "end", "angle"),
    [((0, 0), (50, 0), 0.0), ((50, 0), (0, 0), 0.0), ((0, 0), (0, 50), 90.0), ((0, 50), (0, 0), 90.0)],
)
def test_dimension_reads_from_below_or_from_the_right(start, end, angle) -> None:
    text = dimension(start, end, "50 mm")[-1]
    assert isinstance(text, Words)
    assert text.angle_deg == pytest.approx(angle)


def test_dimension_lies_on_the_side_it_is_told() -> None:
    above, below = (dimension((0, 0), (50, 0), "50", away=x)[-1] for x in (14.0, -14.0))
    assert isinstance(above, Words)
    assert isinstance(below, Words)
    assert above.at == pytest.approx((25.0, 14.0))
    assert below.at == pytest.approx((25.0, -14.0))


@given(st.text(max_size=60))
def test_no_text_breaks_either_form(text: str) -> None:
    sketch = Sketch(80.0, 20.0, (Words((40.0, 10.0), text),), text)
    ET.fromstring(to_svg(sketch))
    assert pdf_of(sketch).startswith(b"%PDF")


def test_flat_shows_its_sizes_notes_and_nothing_that_is_not_there() -> None:
    sheet = reports.bracket_part().sheet
    assert sheet is not None
    sketch = sized_flat(sheet, (0.0, 0.0, 100.0, 60.0), [Note((20.0, 30.0), "A", beside_mm=2.1)])
    assert words_of(to_svg(sketch)) == ["100 mm", "60 mm", "A"]
    assert "100 mm" in rendered(pdf_of(sketch))[1]


def test_body_shows_length_width_height_and_labels() -> None:
    body = reports.housing_part().body
    assert body is not None
    sketch = sized_body(body, [Label((25.0, 20.0, 12.0), "B1 up")])
    assert words_of(to_svg(sketch)) == ["40 mm", "30 mm", "12 mm", "B1 up"]
    pixels, text = rendered(pdf_of(sketch))
    assert all(x in text for x in ("40 mm", "30 mm", "12 mm", "B1 up"))
    # The body itself is there: mid-grey over a good part of the page.
    assert ((pixels > 60) & (pixels < 230)).mean() > 0.1


def test_findings_have_their_numbers_in_the_picture_of_flat_and_body() -> None:
    flat = picture_sketch(reports.bracket_part(), [reports.small_hole()])
    body = picture_sketch(reports.housing_part(), [reports.thin_wall(), reports.thin_wall()])
    assert flat is not None
    assert body is not None
    assert words_of(to_svg(flat)) == ["1"]
    assert words_of(to_svg(body)) == ["1", "2"]
    assert picture_sketch(replace(reports.housing_part(), body=None)) is None


def test_ring_of_a_finding_of_the_whole_flat_stays_on_the_page() -> None:
    whole = replace(reports.small_hole(), where=Where((50.0, 30.0, 0.0), ((0.0, 0.0, 0.0), (100.0, 60.0, 0.0))))
    sketch = picture_sketch(reports.bracket_part(), [whole])
    assert sketch is not None
    rings = [x for x in sketch.items if isinstance(x, Ring) and x.colour != "#30343b"]
    assert rings
    for ring in rings:
        assert ring.radius <= ring.centre[0] <= sketch.width - ring.radius
        assert ring.radius <= ring.centre[1] <= sketch.height - ring.radius


def test_drawing_flows_into_a_document_and_gives_the_same_bytes_again() -> None:
    def document() -> bytes:
        out = io.BytesIO()
        sketch = picture_sketch(reports.housing_part(), [reports.thin_wall()])
        assert sketch is not None
        SimpleDocTemplate(out, invariant=1).build([flowable(sketch, 400.0)])
        return out.getvalue()

    first = document()
    assert first == document()
    assert (rendered(first)[0] < 250).mean() > 0.02
