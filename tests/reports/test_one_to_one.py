"""The 1:1 print measured on the rendered page: 100 mm is 100 mm to 0.1 %."""

from __future__ import annotations

import itertools

import numpy as np
import pypdfium2
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from lintsvc.reports.one_to_one import BAR_MM, PAPER_MM, area_mm, offset_rings, print_rings, tiles

DPI = 600
PX_PER_MM = DPI / 25.4


def page_pixels(data: bytes, number: int = 0) -> np.ndarray:
    document = pypdfium2.PdfDocument(data)
    picture = document[number].render(scale=DPI / 72, grayscale=True).to_numpy()
    document.close()
    return picture.reshape(picture.shape[0], picture.shape[1])


def dark_mm(line: np.ndarray) -> float:
    """Length of the dark stretch, counting grey edge pixels by their share."""
    return float((255.0 - line.astype(float)).sum() / 255.0 / PX_PER_MM)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_both_check_bars_have_their_length(paper) -> None:
    pixels = page_pixels(print_rings([[(0, 0), (50, 0), (50, 30)]], "pad", paper))
    height = pixels.shape[0]
    bar, _ = BAR_MM[paper]
    row = pixels[height - round((10 + 7) * PX_PER_MM), round(21 * PX_PER_MM) : round((23 + bar + 3) * PX_PER_MM)]
    column = pixels[height - round((23 + bar + 3) * PX_PER_MM) : height - round(21 * PX_PER_MM), round(17 * PX_PER_MM)]
    assert dark_mm(row) == pytest.approx(bar, rel=1e-3)
    assert dark_mm(column) == pytest.approx(bar, rel=1e-3)


def test_a_drawn_square_is_its_size_on_the_page() -> None:
    pixels = page_pixels(print_rings([[(0, 0), (100, 0), (100, 80), (0, 80)]], "pad"))
    dark = pixels < 128
    # The outline's columns: the two that are dark over most of the square's height.
    tall = np.flatnonzero(dark.sum(axis=0) > 70 * PX_PER_MM)
    edges = tall[tall > 25 * PX_PER_MM]
    width = (edges.max() - edges.min()) / PX_PER_MM - 0.2
    assert width == pytest.approx(100.0, rel=1e-3)


@settings(deadline=None, max_examples=60)
@given(st.floats(1, 1500), st.floats(1, 1500), st.sampled_from(list(PAPER_MM)))
def test_pages_cover_the_whole_and_overlap(width, height, paper) -> None:
    pages = tiles((0.0, 0.0, width, height), paper)
    wide, high = area_mm(paper)
    assert min(p.x_mm for p in pages) <= 1e-6
    assert min(p.y_mm for p in pages) <= 1e-6
    assert max(p.x_mm for p in pages) + wide >= width - 1e-6
    assert max(p.y_mm for p in pages) + high >= height - 1e-6
    firsts = sorted({round(p.x_mm, 6) for p in pages})
    assert all(b - a <= wide - 10 + 1e-6 for a, b in itertools.pairwise(firsts))


def test_an_offset_moves_the_outline_and_its_holes() -> None:
    outline = shapely.box(0, 0, 40, 30).difference(shapely.Point(20, 15).buffer(5, quad_segs=64))
    rings = [np.array(x) for x in offset_rings(outline, 0.5)]
    assert np.ptp(rings[0][:, 0]) == pytest.approx(41.0)
    assert np.ptp(rings[1][:, 0]) == pytest.approx(9.0, abs=0.01)
    assert offset_rings(outline, -20.0) == []


def test_a_print_of_a_football_field_is_refused() -> None:
    with pytest.raises(ValueError, match="pages"):
        print_rings([[(0, 0), (105_000, 0), (105_000, 68_000)]], "field")
