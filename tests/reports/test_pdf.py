"""The PDF report, read by another library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pypdfium2
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import reports

from lintsvc.model.report import Report
from lintsvc.reports.pdf import dumps
from lintsvc.reports.picture import Pictures, picture_sketch, pictures_of


def text_of(data: bytes) -> tuple[str, int]:
    """Outside check: pdfium's text, line ends as spaces, and the number of pages."""
    document = pypdfium2.PdfDocument(data)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    return " ".join(" ".join(pages).split()), len(pages)


def test_everything_of_a_finding_is_there() -> None:
    text, pages = text_of(dumps(reports.whole_report()))
    assert pages == 3
    for words in (
        "Check of part files",
        "housing.stl",
        "40 × 30 × 12 mm",
        "1 ERROR powder-bed/thin-wall rank 85.3",
        "A wall is 0.62 mm thick; 0.8 mm is the least.",
        "x 25, y 20, z 0 mm; faces 0, 1",
        "0.62 mm, limit 0.8 mm",
        "handbook: Design notes for powder-bed nylon, table of walls",
        "Make the wall at least 0.8 mm thick.",
        "Fine powder: keep it out of eyes and lungs.",
        "no limit is known for this material: powder-bed/too-big",
        "The file ends in the middle of a triangle.",
        "licensed practice",
    ):
        assert words in text


def test_many_findings_run_over_several_pages() -> None:
    many = [replace(reports.thin_wall(), fingerprint=f"{n:016x}") for n in range(60)]
    text, pages = text_of(dumps(Report((reports.housing_report(*many),))))
    assert pages > 4
    assert "60 ERROR powder-bed/thin-wall" in text


def test_same_report_gives_the_same_bytes() -> None:
    assert dumps(reports.whole_report()) == dumps(reports.whole_report())


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=300))
def test_no_text_breaks_the_pdf(text: str) -> None:
    finding = reports.thin_wall(message=f"<b>{text}", remedy=text)
    found, _ = text_of(dumps(Report((reports.housing_report(finding, file=text),))))
    assert "0.62 mm, limit 0.8 mm" in found


def test_signs_that_the_font_lacks_are_written_as_escapes() -> None:
    found, _ = text_of(dumps(Report((reports.unreadable_report("деталь.stl"),))))
    assert r"\u0434" in found


def test_text_longer_than_a_page_is_carried_over() -> None:
    finding = reports.thin_wall(message="word " * 4000 + "end", remedy="x" * 9000)
    text, pages = text_of(dumps(Report((reports.housing_report(finding),))))
    assert pages > 3
    assert "word end" in text


def test_pictures_of_the_part_and_near_to_its_findings_are_in_it_with_the_files_hash() -> None:
    report = Report((reports.housing_report(reports.thin_wall()),))
    pictures = pictures_of(reports.housing_part(), [reports.thin_wall()])
    assert pictures.whole is not None
    plain, drawn = dumps(report), dumps(report, {0: pictures})
    images = [
        x
        for page in pypdfium2.PdfDocument(drawn)
        for x in page.get_objects()
        if x.type == pypdfium2.raw.FPDF_PAGEOBJ_IMAGE
    ]
    assert len(images) == 1 + len(pictures.close)
    assert not [
        x
        for page in pypdfium2.PdfDocument(plain)
        for x in page.get_objects()
        if x.type == pypdfium2.raw.FPDF_PAGEOBJ_IMAGE
    ]
    assert report.parts[0].sha256 in text_of(drawn)[0]


def test_a_faulty_face_is_told_from_a_sound_one_on_a_grey_printer() -> None:
    part, finding = reports.housing_part(), reports.thin_wall()
    report = Report((reports.housing_report(finding),))
    pages = pypdfium2.PdfDocument(dumps(report, {0: Pictures(picture_sketch(part, [finding]))}))
    grey = pages[0].render(scale=2.0, grayscale=True).to_numpy().squeeze().astype(float)
    # The stripes: many steps from dark to bright along a line through the faulty face, none through a sound one.
    steps = (np.abs(np.diff(grey, axis=1)) > 25).sum(axis=1)
    assert steps.max() > 12
