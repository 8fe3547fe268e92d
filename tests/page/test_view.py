"""The view in a real browser: what is lit, cut, coloured, measured and folded, on real files."""

from __future__ import annotations

import io
import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page.conftest import window
from page.paths import LONG, check_id, checked, drop, lit, picture, shown, soon, wait_for_view
from parts.service_parts import box_stl
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, Route, expect
from service.running import Running

from lintsvc.model.part import Part
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions
from lintsvc.reports.geometry import sent_order

#: Colours of style.css in the light theme: the chosen finding, an error, a warning, what is lit from a list.
ERROR = (0xB3, 0x20, 0x2C)
CHOSEN, WARNING, ACCENT = (0xD6, 0x00, 0x7A), (0xA8, 0x5B, 0x00), (0x0B, 0x5F, 0x6E)
NOTE = (0x24, 0x63, 0xA6)


def ready(page: Page) -> None:
    """Wait until the body is drawn and can be picked from."""
    wait_for_view(page)
    expect(page.locator(".view-body[data-ready]")).to_be_attached()


def pixels(page: Page) -> np.ndarray:
    """What the view shows, (height, width, 3); a pixel of it is a pixel of the page."""
    return np.asarray(Image.open(io.BytesIO(page.locator(".view-place").screenshot())).convert("RGB")).astype(int)


def like(image: np.ndarray, colour: tuple[int, int, int], within: int = 60) -> np.ndarray:
    """Where the picture has this colour, however shaded."""
    found: np.ndarray = np.abs(image - colour).sum(axis=2) < within
    return found


def seen(page: Page, test: Callable[[np.ndarray], bool]) -> np.ndarray:
    """Wait until the picture is as wanted, and return it."""
    ends = time.monotonic() + LONG / 1000
    while not test(image := pixels(page)):
        assert time.monotonic() < ends, "the view does not come to show it"
        page.wait_for_timeout(30)
    return image


def still(page: Page) -> np.ndarray:
    """Wait until the picture does not change any more, and return it."""
    before: list[np.ndarray] = [pixels(page)]

    def same(image: np.ndarray) -> bool:
        before.append(image)
        return bool(image.shape == before[-2].shape and (image == before[-2]).all())

    return seen(page, same)


def click_at(page: Page, x: float, y: float) -> None:
    """Click at a place of the view, in its own pixels."""
    page.locator(".view-place").scroll_into_view_if_needed()
    box = page.locator(".view-place").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + float(x), box["y"] + float(y))


def densest(there: np.ndarray, side: int = 17) -> tuple[float, float]:
    """Right and down to where most of a square has something: lights have stripes, and a lone pixel may be a rim."""
    around = np.lib.stride_tricks.sliding_window_view(there, (side, side)).sum((2, 3))
    y, x = np.unravel_index(around.argmax(), around.shape)
    return float(x + side // 2), float(y + side // 2)


def rectangle(image: np.ndarray) -> tuple[int, int, int, int]:
    """Left, right, top, bottom of a part that fills a rectangle: rows and columns mostly of its commonest colour."""
    ground = image[20, 20]
    shades, counts = np.unique(image[4:-4, 4:-4].reshape(-1, 3), axis=0, return_counts=True)
    counts[np.abs(shades - ground).sum(axis=1) < 60] = 0
    filled = like(image, tuple(shades[counts.argmax()].tolist()), 6)
    ys, xs = (np.flatnonzero(filled.sum(axis=k) > 0.5 * filled.sum(axis=k).max()) for k in (1, 0))
    return int(xs.min()), int(xs.max()), int(ys.min()), int(ys.max())


def tool(page: Page, name: str) -> Locator:
    return page.locator(".view-tools").get_by_role("button", name=name, exact=True)


FILES = [
    "demo:faulty/housing.stl",
    "demo:faulty/lid.stl",
    "rules/powder-bed/fixtures/thin_pin",
    "rules/powder-bed/fixtures/narrow_gap",
    "rules/powder-bed/fixtures/deep_hole",
    "rules/powder-bed/fixtures/narrow_escape",
    "rules/soundness/fixtures/open_edge",
    "rules/soundness/fixtures/self_crossing",
]


def file_of(name: str, demo: Path, repository: Path) -> Path:
    if name.startswith("demo:"):
        return demo / name.removeprefix("demo:")
    return min((x for x in (repository / name).iterdir() if x.name.startswith("bad")), key=lambda x: x.name)


def body_of(file: Path) -> tuple[Any, np.ndarray]:
    """The body of a file, and where each of its faces stands among those that a page gets.

    Read anew and put in that order here: nothing of the service's answers is used.
    """
    part = read_part(file, ReadOptions(file.name, "0" * 64, None, None, None))
    assert isinstance(part, Part)
    assert part.body is not None
    place = np.empty(len(part.body.faces), np.int64)
    place[sent_order(part.body)] = np.arange(len(part.body.faces))
    return part.body, place


def lights_its_faces(page: Page, part: Any, file: Path) -> int:
    """Choose every finding: the faces that are drawn in its colour are the report's, told by where they lie."""
    ready(page)
    _, place = body_of(file)
    looked_at = 0
    for finding in part["findings"]:
        faces = (finding["where"] or {}).get("faces") or []
        # To the next one, whether it stands by itself in the list or in a group.
        page.keyboard.press("j")
        assert lit(page) == sorted(place[faces].tolist()), (file.name, finding["rule"])
        looked_at += bool(faces)
    page.keyboard.press("Escape")
    assert lit(page) == []
    return looked_at


def test_every_finding_lights_the_faces_that_the_report_names(
    page: Page, demo: Path, repository: Path, tmp_path: Path
) -> None:
    files = []
    for name in FILES:
        # Fixtures of different rules may have one name.
        found = file_of(name, demo, repository)
        files.append(tmp_path / (name.rpartition("/")[2].partition(".")[0] + found.suffix))
        files[-1].write_bytes(found.read_bytes())
    drop(page, *files)
    page.locator(".order-item").get_by_role("link").first.click()
    for file in files:
        page.locator(".files button", has_text=file.name).click()
        expect(page.locator(".file-name")).to_have_text(file.name)
        assert lights_its_faces(page, shown(page), file) > 0


@pytest.mark.needs_shared
@pytest.mark.parametrize("name", ["stl/MINI-minda-holder.stl", "3mf/cube_gears_prod.3mf", "step/left.step"])
def test_every_finding_of_a_real_file_lights_its_faces(page: Page, shared: Path, name: str) -> None:
    file = shared / "corpus/open" / name
    lights_its_faces(page, checked(page, file), file)


def test_a_chosen_finding_is_seen_with_its_ball_in_a_cut(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    assert not like(pixels(page), CHOSEN).any()
    expect(tool(page, "Close up")).to_be_disabled()
    page.locator(".finding-head", has_text="Wall").click()
    seen(page, lambda image: like(image, CHOSEN).sum() > 200)
    expect(page.locator(".view-label-dimension")).to_have_text("0.5 mm")
    picture(page, "body-dimension", tmp_path, full=False)
    # Where nobody wishes for less motion, the view flies there.
    page.emulate_media(reduced_motion="no-preference")
    far = still(page)
    tool(page, "Close up").click()
    expect(tool(page, "Cut open")).to_have_attribute("aria-pressed", "true")
    near = still(page)
    assert like(near, CHOSEN).sum() > like(far, CHOSEN).sum()
    picture(page, "body-close-up", tmp_path, full=False)
    # The unit goes with the page's.
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.locator(".view-label-dimension")).to_have_text("0.02 in")
    page.get_by_role("button", name="mm", exact=True).click()


def test_choosing_a_place_in_the_body_chooses_its_finding(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    # Seen through, whatever a finding lies on shines; any such place that lies among others will do.
    tool(page, "See through").click()
    image = seen(page, lambda image: like(image, WARNING, 40).sum() > 300)
    click_at(page, *densest(like(image, WARNING, 40)))
    expect(page.locator(".finding.open")).to_have_count(1)
    # And one beside the part ends it.
    click_at(page, 4, 4)
    expect(page.locator(".finding.open")).to_have_count(0)


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
    expect(page.locator(".legend-here")).to_have_text("Here: 0.5 mm")
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
    seen(page, lambda image: image.shape == before.shape and bool(np.abs(image - before).mean() < 0.5))


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


def test_a_box_is_measured_from_corner_to_corner_and_across_its_edges(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    checked(page, file)
    ready(page)
    page.get_by_label("Look from").select_option("front")
    tool(page, "Measure").click()
    # From the front the box is a rectangle of 40 by 20 mm.
    left, right, top, bottom = rectangle(still(page))
    left, right, top, bottom = left + 3, right - 3, top + 3, bottom - 3
    words = page.locator(".view-measured")
    click_at(page, left, top)
    expect(words).to_contain_text("Corner at 0 mm, 0 mm, 20 mm")
    click_at(page, right, bottom)
    expect(words).to_contain_text("Distance: 44.72 mm")
    expect(words).to_contain_text("x 40 mm, y 0 mm, z 20 mm")
    expect(page.locator(".view-label-measured")).to_have_text("44.72 mm")
    picture(page, "body-measured", tmp_path, full=False)
    page.get_by_role("button", name="in", exact=True).click()
    expect(words).to_contain_text("Distance: 1.761 in")
    page.get_by_role("button", name="mm", exact=True).click()
    # Escape clears; then two edges, by their middles.
    page.keyboard.press("Escape")
    expect(words).not_to_contain_text("Distance")
    click_at(page, (left + right) / 2, top)
    expect(words).to_contain_text("Edge: 40 mm long")
    click_at(page, (left + right) / 2, bottom)
    expect(words).to_contain_text("Distance: 20 mm")


def test_holes_of_a_body_are_measured_by_their_axes(page: Page, demo: Path) -> None:
    """The housing's four screw holes: the distance of two is what their axes in the lists have."""
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    lists = json.loads(page.request.get(f"/api/v1/checks/{check_id(page)}/files/0/lists").body())
    holes = [x for x in lists["holes"] if abs(x["diameter_mm"] - 3.2) < 0.1]
    assert len(holes) == 4
    page.get_by_label("Look from").select_option("top")
    expect(page.locator(".feature").first).to_be_visible()
    tool(page, "Measure").click()
    # Where they are seen from above follows from the rectangle that the part fills.
    left, right, _, bottom = rectangle(still(page))
    part = check_box(page)
    scale = (right - left) / (part[1][0] - part[0][0])
    near = sorted(holes, key=lambda x: (x["ends"][0][1], x["ends"][0][0]))[:2]
    for hole in near:
        x, y, _ = hole["ends"][0]
        # On its rim.
        x += hole["diameter_mm"] / 2
        click_at(page, left + (x - part[0][0]) * scale, bottom - (y - part[0][1]) * scale)
    words = page.locator(".view-measured")
    expect(words).to_contain_text("Hole: ⌀ 3.2 mm")
    apart = float(np.hypot(*np.subtract(near[0]["ends"][0], near[1]["ends"][0])[:2]))
    expect(words).to_contain_text(f"Centre to centre: {apart:.2f}".rstrip("0").rstrip("."))


def check_box(page: Page) -> Any:
    """The part's box as the page gets it."""
    from lintsvc.reports.geometry import decode_body

    answer = page.request.get(
        f"/api/v1/checks/{check_id(page)}/files/0/geometry", headers={"Accept-Encoding": "identity"}
    )
    _, vertices, _ = decode_body(answer.body())
    return vertices.min(axis=0).tolist(), vertices.max(axis=0).tolist()


def boxes_of(page: Page, selector: str) -> list[tuple[float, float, float, float]]:
    """Left, top, right, bottom of what is seen of these."""
    script = """all => all.filter(x => getComputedStyle(x).visibility !== "hidden").map(x => {
        const r = x.getBoundingClientRect();
        return [r.left, r.top, r.right, r.bottom];
    })"""
    return [tuple(x) for x in page.locator(selector).evaluate_all(script)]


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


def test_levels_are_told_apart_without_colours(page: Page, tmp_path: Path) -> None:
    """An error, a warning and a note on three sides of a box, seen in grey: the light's pattern, the sign's form.

    Which findings there are is put in the service's mouth; how they are drawn is the page's own.
    """
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    levels = ("error", "warning", "note")
    sides = ((2, 20.0), (1, 0.0), (0, 40.0))  # top, front and right: those that are seen at first

    body, place = body_of(file)
    corners = np.asarray(body.vertices)[np.asarray(body.faces)[np.argsort(place)]]

    def findings(route: Route) -> None:
        placed = []
        for level, (axis, at) in zip(levels, sides, strict=True):
            on = np.isclose(corners[:, :, axis], at).all(axis=1)
            point = corners[on].mean(axis=(0, 1)).tolist()
            span = [point, [x + (1.5 if i == axis else 0.0) for i, x in enumerate(point)]] if level == "note" else None
            placed.append(
                {"fingerprint": level, "rule": "none", "level": level, "rank": 1, "point": point, "box": [point, point],
                 "span": span, "lines": [], "faces": [[int(x), 1] for x in np.flatnonzero(on)], "entities": []}
            )  # fmt: skip
        route.fulfill(json={"findings": placed})

    page.route("**/files/0/findings*", findings)
    checked(page, file)
    ready(page)
    tool(page, "See through").click()  # their full colours
    image = seen(page, lambda image: all(like(image, x, 90).sum() > 2000 for x in (ERROR, WARNING, NOTE)))
    grey = image @ np.array([0.2126, 0.7152, 0.0722])
    inked = {}
    for level, colour in zip(levels, (ERROR, WARNING, NOTE), strict=True):
        x, y = densest(like(image, colour, 90), 41)
        patch = grey[int(y) - 20 : int(y) + 21, int(x) - 20 : int(x) + 21]
        inked[level] = float((np.abs(patch - np.median(patch)) > 30).mean())
    assert inked["error"] < 0.02
    assert 0.05 < inked["note"] < 0.22
    assert 0.22 < inked["warning"] < 0.4
    forms = page.locator(".view-label-mark").evaluate_all(
        "all => all.map(x => x.querySelector('.mark').firstChild.outerHTML)"
    )
    assert len(set(forms)) == 3
    expect(page.locator(".view-label-note")).to_have_text("1.5 mm")
    picture(page, "body-levels", tmp_path, full=False)
    # Looked at from behind, none of them is in front.
    expect(page.locator(".view-label-mark.behind")).to_have_count(0)
    page.get_by_label("Look from").select_option("bottom")
    expect(page.locator(".view-label-error.behind")).to_have_count(1)
