"""A strip with many bends: its words stand beside it and beside each other."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest
from page.paths import drop, wait_for_view
from playwright.sync_api import Page, expect

WORDS = """() => [...document.querySelectorAll(".flat-drawing text")]
    .filter(x => x.style.visibility !== "hidden")
    .map(x => [x.textContent, x.getBoundingClientRect()])
    .map(([words, box]) => [words, box.left, box.top, box.right, box.bottom])"""


def strip(path: Path, wide: float) -> Path:
    drawing = ezdxf.new()
    drawing.units = 4
    space = drawing.modelspace()
    outline = [(0, 0), (60, 0), (60, wide), (0, wide)]
    space.add_lwpolyline(outline, close=True, dxfattribs={"layer": "CUT"})
    for number, x in enumerate((10, 16, 22, 40, 46)):
        layer = "BEND_UP_90" if number % 2 else "BEND_DOWN_90"
        space.add_line((x, 0), (x, wide), dxfattribs={"layer": layer})
    drawing.saveas(path)
    return path


@pytest.mark.parametrize("size", [(1280, 850), (390, 844)])
def test_words_on_a_narrow_strip_cover_neither_it_nor_each_other(
    page: Page, tmp_path: Path, size: tuple[int, int]
) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    drop(page, strip(tmp_path / "strip.dxf", 2.0))
    expect(page.locator(".findings")).to_be_visible(timeout=90_000)
    wait_for_view(page)
    words = page.evaluate(WORDS)
    bends = [x for x in words if "down" in x[0] or "up" in x[0]]
    assert len(bends) == 5
    sheet = page.locator(".flat-sheet").bounding_box()
    assert sheet is not None
    part = ["part", sheet["x"], sheet["y"], sheet["x"] + sheet["width"], sheet["y"] + sheet["height"]]
    for one in bends:
        for other in [x for x in words if x is not one] + [part]:
            # The boxes of letters reach a little further than the letters.
            apart = one[1] >= other[3] - 2 or other[1] >= one[3] - 2 or one[2] >= other[4] - 4 or other[2] >= one[4] - 4
            assert apart, (one, other)
