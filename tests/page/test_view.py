"""A body's view in a real browser: how it is cut, coloured, turned and labelled."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from page.conftest import window
from page.drawn import boxes_of, like, pixels, ready, seen, still, tool
from page.paths import checked, lit, picture, soon
from parts.service_parts import box_stl
from playwright.sync_api import Browser, Page, expect
from service.running import Running


def test_thickness_and_gap_are_colours_with_a_scale_in_the_chosen_unit(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    choice = page.get_by_label("Colour by")
    choice.select_option("wall")
    legend = page.locator(".view-legend")
    expect(legend).to_be_visible()
    expect(legend).to_contain_text("limit of 0.8 mm")
    expect(page.locator(".legend-limit")).to_have_text("0.8")
    # Bands below the limit are striped, as the part is there.
    expect(page.locator(".legend-below")).to_have_count(2)
    bands = [
        tuple(map(int, x[4:-1].split(",")))
        for x in page.locator(".legend-band").evaluate_all("all => all.map(x => getComputedStyle(x).backgroundColor)")
    ]
    # The housing's walls are 2 mm: the band from 1.6 to 2.0 or the next fills much of the picture, shaded a little.
    image = seen(page, lambda image: max(like(image, band, 70).sum() for band in bands[4:6]) > 20_000)
    # The thin window is in the darkest bands.
    window = like(image, bands[1], 60)
    assert window.sum() > 300
    y, x = np.argwhere(window).mean(axis=0)
    box = page.locator(".view-place").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + float(x), box["y"] + float(y))
    page.mouse.move(box["x"] + float(x) + 1, box["y"] + float(y))
    expect(page.locator(".legend-here")).to_have_text("Here: 0.501 mm")
    picture(page, "body-thickness", tmp_path, full=False)
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.locator(".legend-limit")).to_have_text("0.031")
    expect(legend).to_contain_text("limit of 0.031 in")
    page.get_by_role("button", name="mm", exact=True).click()
    choice.select_option("gap")
    expect(legend).to_contain_text("limit of 0.5 mm")
    picture(page, "body-gap", tmp_path, full=False)
    choice.select_option("plain")
    expect(legend).to_be_hidden()


def test_a_body_is_cut_open_where_the_slider_stands(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    checked(page, file)
    ready(page)
    whole = still(page)
    tool(page, "Cut open").click()
    slider = page.get_by_label("Where it is cut")
    expect(slider).to_have_attribute("aria-valuetext", "x = 20 mm")
    cut = seen(page, lambda image: bool((image != whole).any()))
    page.get_by_label("Cut across z").click()
    expect(slider).to_have_attribute("aria-valuetext", "z = 10 mm")
    slider.focus()
    slider.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", "z = 10.02 mm")
    seen(page, lambda image: bool((image != cut).any()))
    picture(page, "body-cut", tmp_path, full=False)
    page.locator(".view-pad").focus()
    page.keyboard.press("x")
    expect(slider).to_be_hidden()
    page.evaluate("document.activeElement.blur()")  # the focus is seen
    seen(page, lambda image: bool((image == whole).all()))


def test_the_look_and_the_chosen_finding_stay_when_another_material_is_chosen(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    page.locator(".finding-head", has_text="Wall").click()
    words = page.locator(".finding.open .finding-message").inner_text()
    tool(page, "Cut open").click()
    seen_cut = page.get_by_role("button", name="As seen: cut across")
    seen_cut.click()
    page.locator(".view-pad").focus()
    page.keyboard.press("ArrowLeft")
    page.locator("select[name=material]").focus()  # else the view has a rim, as what has the focus
    before, chosen = still(page), lit(page)
    old = page.url
    page.select_option("select[name=material]", "pa11")
    soon(page, lambda: page.url != old)
    expect(page.locator(".view.leaving")).to_have_count(0)
    expect(page.locator(".verdict-line")).to_contain_text(" pa11 ")
    ready(page)
    assert lit(page) == chosen
    expect(page.locator(".finding.open .finding-message")).to_have_text(words)
    for button in (tool(page, "Cut open"), seen_cut):
        expect(button).to_have_attribute("aria-pressed", "true")
    # What stands around it is a fraction of a pixel shorter or longer: the same picture may stand a pixel lower.
    seen(
        page,
        lambda image: (
            image.shape == before.shape
            and any(np.abs(np.roll(image, by, axis=0) - before).mean() < 0.5 for by in (-1, 0, 1))
        ),
    )


def test_a_cut_is_turned_along_a_finding_and_back_across_an_axis(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    along = page.get_by_role("button", name="Finding: cut along")
    tool(page, "Cut open").click()
    expect(along).to_be_disabled()
    page.locator(".finding-head", has_text="Wall").click()
    along.click()
    expect(along).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_label("Where it is cut")).to_have_attribute("aria-valuetext", re.compile("from the middle$"))
    page.get_by_label("Cut across z").click()
    expect(along).to_have_attribute("aria-pressed", "false")
    expect(page.get_by_label("Where it is cut")).to_have_attribute("aria-valuetext", re.compile("^z = "))


COUNT_PROGRAMS = """
window.programs = 0;
const link = WebGL2RenderingContext.prototype.linkProgram;
WebGL2RenderingContext.prototype.linkProgram = function (...all) { window.programs++; return link.apply(this, all); };
window.widths = [];
const draw = WebGL2RenderingContext.prototype.drawElements;
WebGL2RenderingContext.prototype.drawElements = function (...all) {
    window.widths.push(this.canvas.width);
    return draw.apply(this, all);
};
"""


@pytest.fixture
def counted(browser: Browser, service: Running) -> Iterator[Page]:
    """A page in which compiled programs are counted from the first on."""
    with window(browser, service) as (opened, troubles):
        opened.add_init_script(COUNT_PROGRAMS)
        opened.goto("/")
        yield opened
        assert troubles == []


def test_nothing_is_compiled_while_somebody_waits_for_the_view(counted: Page, demo: Path) -> None:
    """A program that is compiled at its first use holds the page until all that was drawn before it is done."""
    page = counted
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    expect(page.locator(".view-body canvas[data-compiled]")).to_be_attached()
    before = page.evaluate("window.programs")
    assert before > 10
    still(page)
    # Giving the canvas its size waits for what was drawn before: nothing was.
    width = page.locator(".view-body canvas").evaluate("x => x.width")
    assert set(page.evaluate("window.widths")) == {width}
    page.locator(".finding-head", has_text="Wall").click()
    tool(page, "Close up").click()
    page.locator(".view-pad").focus()
    for key in ("t", "t", "x", "e", "e", "c"):
        page.keyboard.press(key)
        page.evaluate("new Promise(requestAnimationFrame)")
    expect(page.locator(".view-legend")).to_be_visible()
    page.keyboard.press("x")
    page.locator(".feature").first.click()
    still(page)
    assert page.evaluate("window.programs") == before


def test_keys_turn_look_and_switch_only_while_the_view_has_the_focus(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    checked(page, file)
    ready(page)
    edges, through = tool(page, "Edges"), tool(page, "See through")
    page.keyboard.press("e")
    expect(edges).to_have_attribute("aria-pressed", "true")
    page.locator(".view-pad").focus()
    for key, button, state in (("e", edges, "false"), ("e", edges, "true"), ("t", through, "true")):
        before = pixels(page)
        page.keyboard.press(key)
        expect(button).to_have_attribute("aria-pressed", state)
        seen(page, lambda image, before=before: bool((image != before).any()))
    for key in ("1", "3", "6", "ArrowLeft", "ArrowUp", "+", "0"):
        before = pixels(page)
        page.keyboard.press(key)
        seen(page, lambda image, before=before: bool((image != before).any()))


def apart(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_sizes_of_a_tiny_part_cover_neither_each_other_nor_the_part(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "tiny.stl"
    file.write_bytes(box_stl(2, 1.5, 1))
    checked(page, file)
    ready(page)
    for name, width, height in (("wide", 1280, 850), ("phone", 390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        soon(page, lambda width=width: apart_in_the_view(page, width))
        picture(page, f"body-tiny-{name}", tmp_path, full=False)


def apart_in_the_view(page: Page, width: int) -> bool:
    """Whether the sizes are in the view, beside each other and beside the part; false while it is drawn anew."""
    image = pixels(page)
    labels = boxes_of(page, ".view-label")
    (view,) = boxes_of(page, ".view-place")
    # The part's faces are grey and wide; lines are thin.
    grey = np.abs(image - (0xB4, 0xBC, 0xC6)).sum(axis=2) < 90
    ys, xs = np.nonzero(np.lib.stride_tricks.sliding_window_view(grey, (5, 5)).all((2, 3)))
    if image.shape[1] >= width or not len(xs):
        return False
    part = (xs.min() + view[0], ys.min() + view[1], xs.max() + 5 + view[0], ys.max() + 5 + view[1])
    within = [x[0] >= view[0] and x[2] <= view[2] and x[1] >= view[1] and x[3] <= view[3] for x in labels]
    beside = [apart(a, b) for i, a in enumerate(labels) for b in labels[:i]]
    off_part = [apart(part, x) for x in labels if x[3] - x[1] < 40]
    return len(labels) == 4 and part[2] - part[0] > 15 and all(within + beside + off_part)
