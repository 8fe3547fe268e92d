"""The sheet's view in a real browser, flat and folded; the lists of both kinds; access in every state of the view."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page.drawn import ACCENT, ERROR, WARNING, boxes_of, click_at, densest, like, seen, tool
from page.paths import accessible, check_id, checked, expect_lit, picture, soon, wait_for_view
from parts.service_parts import plate_dxf
from playwright.sync_api import Page, expect
from shapely.geometry import LineString, Point


def geometry(page: Page, what: str = "geometry") -> Any:
    answer = page.request.get(f"/api/v1/checks/{check_id(page)}/files/0/{what}")
    assert answer.ok
    return json.loads(answer.body())


def click_mm(page: Page, x: float, y: float) -> None:
    """Click at a place of the flat, in its own mm."""
    at = page.locator(".flat-drawing").evaluate(
        "(svg, [x, y]) => { const p = new DOMPoint(x, -y).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }",
        [x, y],
    )
    page.mouse.click(*at)


def bracket(page: Page, demo: Path) -> None:
    """The good bracket, with its material and thickness said."""
    checked(page, demo / "good" / "bracket.dxf", material="aluminium-5052-h32", thickness="2.5mm")
    wait_for_view(page)


def test_a_flat_is_measured_between_holes_and_lines(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "plate.dxf"
    file.write_bytes(plate_dxf(60, 40, 8))
    checked(page, file)
    wait_for_view(page)
    tool(page, "Measure").click()
    words = page.locator(".view-measured")
    click_mm(page, 20, 20)
    expect(words).to_contain_text("Hole: ⌀ 8 mm")
    click_mm(page, 60, 30)
    # From the hole's middle to the right edge.
    expect(words).to_contain_text("Distance: 40 mm")
    page.get_by_role("button", name="in", exact=True).click()
    expect(words).to_contain_text("Distance: 1.575 in")
    page.get_by_role("button", name="mm", exact=True).click()
    page.keyboard.press("Escape")
    expect(words).not_to_contain_text("Distance")
    click_mm(page, 0, 0)
    click_mm(page, 60, 40)
    expect(words).to_contain_text("Corner at 60 mm, 40 mm")
    expect(words).to_contain_text("Distance: 72.11 mm")
    # By keys: the middle of the view.
    page.keyboard.press("Escape")
    page.locator(".flat-drawing").focus()
    page.keyboard.press("Enter")
    expect(words).to_contain_text("Place at")
    picture(page, "flat-measured", tmp_path, full=False)


@pytest.mark.parametrize(("width", "height"), [(2, 1.5), (900, 120)])
def test_all_sizes_of_a_flat_are_in_view_however_small_that_is(
    page: Page, tmp_path: Path, width: float, height: float
) -> None:
    file = tmp_path / "plate.dxf"
    file.write_bytes(plate_dxf(width, height, height / 4))
    page.set_viewport_size({"width": 390, "height": 844})
    checked(page, file)
    wait_for_view(page)
    for size in ((390, 844), (1280, 850)):
        page.set_viewport_size({"width": size[0], "height": size[1]})

        def all_in_view(width: float = size[0]) -> bool:
            (view,) = boxes_of(page, ".view-place")
            shown = boxes_of(page, ".flat-sizes > *, .flat-sheet")
            return (
                len(shown) == 6
                and view[2] < width
                and all(x[0] >= view[0] and x[2] <= view[2] and x[1] >= view[1] and x[3] <= view[3] for x in shown)
            )

        # The whole part fills the view anew when that gets another size.
        soon(page, all_in_view)
        picture(page, f"flat-{width}-{size[0]}", tmp_path, full=False)


def test_holes_and_bends_of_a_flat_light_up_from_their_lists(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "good" / "bracket.dxf")
    wait_for_view(page)
    flat = geometry(page)
    button = page.locator(".feature", has_text="4 × ⌀ 6.6 mm")
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")
    meant = sorted(n for x in flat["holes"] if abs(x["diameter_mm"] - 6.6) < 1e-6 for n in x["entities"])
    assert len(meant) == 4
    expect_lit(page, meant)
    expect(page.locator(".flat-feature")).to_have_count(1)
    picture(page, "flat-list", tmp_path)
    page.locator(".feature", has_text="Bend 1").click()
    expect(button).to_have_attribute("aria-pressed", "false")
    expect_lit(page, [flat["bends"][0]["entity"]])
    page.locator(".feature", has_text="Bend 1").click()
    expect_lit(page, [])


def test_holes_and_bodies_of_a_body_light_up_from_their_lists(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    wait_for_view(page)
    lists = geometry(page, "lists")
    expect(page.locator(".feature").first).to_be_visible()

    def faces(entries: list[dict[str, Any]]) -> list[int]:
        return sorted(i for x in entries for first, n in x["faces"] for i in range(first, first + n))

    page.locator(".feature", has_text="Body 2").click()
    expect_lit(page, faces(lists["bodies"][1:]))
    page.locator(".feature", has_text="4 × ⌀ 3.2 mm").click()
    expect_lit(page, faces([x for x in lists["holes"] if abs(x["diameter_mm"] - 3.2) < 0.05]))
    picture(page, "body-list", tmp_path)
    # A finding takes the light over.
    page.locator(".finding-head").first.click()
    expect(page.locator(".feature[aria-pressed=true]")).to_have_count(0)


def test_a_sheet_is_folded_step_by_step_and_bends_are_turned(page: Page, demo: Path, tmp_path: Path) -> None:
    bracket(page, demo)
    expect(page.locator("text.flat-bend-down")).to_have_text("▼ down 90°")
    tool(page, "Folded").click()
    expect(page.locator(".view-sheet .view-body canvas")).to_be_visible()
    words = page.locator(".fold-tools output")
    size = " × ".join(f"{x:.2f}".rstrip("0").rstrip(".") for x in geometry(page, "folded")["size_mm"])
    expect(words).to_contain_text(f"{size} mm outside")
    expect(page.locator(".view-label-bend-up")).to_have_text("2 ▲ up 90°")
    expect(page.locator(".view-label-bend-down")).to_have_text("1 ▼ down 90°")
    picture(page, "sheet-folded", tmp_path)
    measured_between_holes(page, geometry(page))
    tool(page, "← Bend").click()
    expect(words).to_contain_text("step 1 of 2")
    # What was picked is elsewhere now.
    expect(page.locator(".view-body .view-measured")).not_to_contain_text("Hole")
    tool(page, "Measure").click()
    tool(page, "← Bend").click()
    expect(words).to_contain_text("flat")
    tool(page, "Bend →").click()
    expect(words).to_contain_text("step 1 of 2")
    page.locator(".fold-bend select").first.select_option("up")
    expect(page.locator(".view-label-bend-up").first).to_have_text("1 ▲ up 90°")
    expect(words).not_to_contain_text("outside")
    page.locator(".fold-bend select").first.select_option("flat")
    expect(page.locator(".view-label-bend-flat")).to_have_text("1 – flat")
    picture(page, "sheet-turned", tmp_path)
    tool(page, "Flat").click()
    expect(page.locator(".flat-drawing")).to_be_visible()


def measured_between_holes(page: Page, flat: dict[str, Any]) -> None:
    """Measure between two of the bracket's four equal holes, which lie in one plane: as far apart as in the flat."""
    centres = [x["centre"] for x in flat["holes"] if abs(x["diameter_mm"] - 6.6) < 1e-6]
    button = page.locator(".feature", has_text="4 × ⌀ 6.6 mm")
    button.click()
    lit = like(seen(page, lambda image: like(image, ACCENT).sum() > 60), ACCENT)
    button.click()
    # The wall of one hole, where most of it is seen, and that of another.
    first = densest(lit, 5)
    rows, columns = np.indices(lit.shape)
    second = densest(lit & (np.hypot(columns - first[0], rows - first[1]) > 40), 5)
    tool(page, "Measure").click()
    words = page.locator(".view-body .view-measured")
    click_at(page, *first)
    expect(words).to_contain_text("Hole: ⌀ 6.6 mm, 2.5 mm deep")
    click_at(page, *second)
    expect(words).to_contain_text("Centre to centre: ")
    said = float(re.search(r"Centre to centre: ([0-9.]+) mm", words.inner_text())[1])  # type: ignore[index]
    apart = {round(float(np.hypot(*np.subtract(a, b))), 2) for a in centres for b in centres}
    assert min(abs(said - x) for x in apart) < 0.006
    assert said > 10


def faces_of(finding: dict[str, Any], flat: dict[str, Any], folded: dict[str, Any]) -> list[int]:
    """Faces of the folded body that a finding is about: its bends' zones, and the edges along its curves.

    By another way than the page: a place is on a curve when shapely says so. Only lines, arcs and circles.
    """
    curves = [curve_of(shape) for x in flat["entities"] if x["number"] in finding["entities"] for shape in x["shapes"]]
    pieces = [LineString([a[:2], b[:2]]) for a, b in finding["lines"]]
    points = np.reshape(folded["points"], (-1, 2))
    count = 2 * len(folded["triangle_piece"])

    def edges(on: list[Any]) -> list[int]:
        ends = [(Point(points[a]), Point(points[b])) for a, b in np.reshape(folded["rim"], (-1, 2))]
        found = [i for i, (a, b) in enumerate(ends) if any(x.distance(a) < 0.02 and x.distance(b) < 0.02 for x in on)]
        return [count + 2 * i + k for i in found for k in (0, 1)]

    bends = {i for i, x in enumerate(flat["bends"]) if x["entity"] in finding["entities"]}
    zones = {
        folded["panels"] + i for i, x in enumerate(folded["zones"]) if folded["bends"][x["bend"]]["number"] in bends
    }
    turned = [2 * i + k for i, x in enumerate(folded["triangle_piece"]) if x in zones for k in (0, 1)]
    return sorted(turned + (edges(pieces) or edges(curves)))


def curve_of(shape: dict[str, Any]) -> Any:
    if "line" in shape:
        return LineString(np.reshape(shape["line"], (2, 2)))
    if "polyline" in shape:
        return LineString(np.reshape(shape["polyline"], (-1, 2)))
    x, y, r, *angles = shape.get("arc") or [*shape["circle"], 0, 360]
    start, end = angles
    turn = np.radians(start + np.linspace(0, (end - start) % 360 or 360, 721))
    return LineString(np.column_stack([x + r * np.cos(turn), y + r * np.sin(turn)]))


def test_a_gauge_stays_one_when_the_metal_changes(page: Page, repository: Path) -> None:
    checked(page, repository / "rules/sheet/fixtures/thickness_not_stocked/good_plate.dxf")
    page.select_option("select[name=material]", "steel-mild")
    expect(page.locator("select[name=material]")).to_have_value("steel-mild")
    page.fill("input[name=thickness]", "16ga")
    page.press("input[name=thickness]", "Tab")
    expect(page.locator(".assumed")).to_contain_text("16 ga mild steel: 1.519 mm")
    page.select_option("select[name=material]", "stainless-304")
    expect(page.locator(".assumed")).to_contain_text("16 ga stainless steel 304: 1.587 mm")
    expect(page.locator("input[name=thickness]")).to_have_value("16ga")


FOLDABLE = ["hole_near_bend/bad_3.9.dxf", "bends_too_close/bad_5.9.dxf", "flange_too_short/bad_8.3.dxf"]


@pytest.mark.parametrize("name", FOLDABLE)
def test_every_finding_lights_its_faces_when_folded_and_is_chosen_from_there(
    page: Page, repository: Path, tmp_path: Path, name: str
) -> None:
    part = checked(page, repository / "rules/bend/fixtures" / name, material="aluminium-5052-h32", thickness="2mm")
    wait_for_view(page)
    tool(page, "Folded").click()
    expect(page.locator(".view-sheet .view-body canvas")).to_be_visible()
    flat, folded = geometry(page), geometry(page, "folded")
    findings = geometry(page, "findings")["findings"]
    assert findings
    for _ in part["findings"]:
        page.keyboard.press("j")
        number = int((page.locator(".finding.open .finding-head").get_attribute("data-focus") or "").split("-")[1])
        meant = faces_of(findings[number], flat, folded)
        assert meant, findings[number]["rule"]
        expect_lit(page, meant)
    picture(page, "folded-finding", tmp_path, full=False)
    page.keyboard.press("Escape")
    expect_lit(page, [])
    # The place that is lit most: the finding there is chosen.
    shown = seen(page, lambda image: max(like(image, x, 40).sum() for x in (ERROR, WARNING)) > 150)
    click_at(page, *densest(like(shown, ERROR, 40) | like(shown, WARNING, 40), 9))
    expect(page.locator(".finding.open")).to_have_count(1)
    # Beside the part.
    tool(page, "Whole part").click()
    click_at(page, 4, 4)
    expect(page.locator(".finding.open")).to_have_count(0)


def test_what_cannot_be_folded_says_why_and_stays_flat(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "bracket.dxf")
    wait_for_view(page)
    tool(page, "Folded").click()
    expect(page.locator(".fold-place")).to_contain_text("thickness")
    expect(page.locator(".flat-drawing")).to_be_visible()


def test_the_kerf_is_drawn_as_wide_as_it_is(page: Page, demo: Path, tmp_path: Path) -> None:
    bracket(page, demo)
    tool(page, "Kerf").click()
    # 0.1 to 0.2 mm in metal up to 3 mm: drawn at the middle, in mm of the drawing.
    expect(page.locator(".flat-kerf")).to_have_css("stroke-width", "0.15px")
    expect(page.locator(".view-tools")).to_contain_text("0.1 mm to 0.2 mm")
    picture(page, "flat-kerf", tmp_path, full=False)


def test_no_state_of_the_body_view_has_a_violation(page: Page, demo: Path, tmp_path: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    checked(page, demo / "faulty" / "housing.stl")
    wait_for_view(page)
    expect(page.locator(".feature").first).to_be_visible()
    page.get_by_label("Colour by").select_option("wall")
    expect(page.locator(".view-legend")).to_be_visible()
    for name in ("Cut open", "Measure", "See through"):
        tool(page, name).click()
    page.locator(".tool-help summary").click()
    page.locator(".feature").first.click()
    accessible(page, "body-all", tmp_path)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_no_state_of_the_sheet_view_has_a_violation(page: Page, demo: Path, tmp_path: Path) -> None:
    bracket(page, demo)
    tool(page, "Kerf").click()
    tool(page, "Measure").click()
    accessible(page, "flat-all", tmp_path)
    tool(page, "Folded").click()
    expect(page.locator(".fold-tools")).to_be_visible()
    page.set_viewport_size({"width": 390, "height": 844})
    accessible(page, "folded-all", tmp_path)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
