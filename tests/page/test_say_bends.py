"""What the file does not say of its bends is said in the findings, shown with the facts, and taken back there."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from page.paths import accessible, check_of, checked, drop, part_of, shown, soon, wait_for_view
from playwright.sync_api import Locator, Page, expect
from service.running import Running

MISSING = {"bend/direction-missing", "bend/angle-missing"}
CHOSEN = {"material": "aluminium-5052-h32", "thickness": "2.5mm"}


def strip(path: Path) -> Path:
    """A strip of 120 by 40 mm with two bend lines of which nothing says which way they go, how far, or how round."""
    drawing = ezdxf.new()
    drawing.units = 4
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (120, 0), (120, 40), (0, 40)], close=True, dxfattribs={"layer": "CUT"})
    for x in (40, 80):
        space.add_line((x, 0), (x, 40), dxfattribs={"layer": "BEND"})
    drawing.saveas(path)
    return path


def rules_of(part: Any) -> set[str]:
    return {x["rule"] for x in part["findings"]}


def bends_said(page: Page) -> list[tuple[float, str | None, float | None]]:
    """Place along the strip, direction and angle of each bend that was said."""
    said = json.loads(check_of(page)["choices"].get("bends", "[]"))
    return [((x["start"][0] + x["end"][0]) / 2, x["direction"], x["angle_deg"]) for x in said]


def bends_in(part: Any) -> list[tuple[str | None, float | None]]:
    return [(x["direction"], x["angle_deg"]) for x in part["part"]["bends"]]


def finding(page: Page, words: str) -> Locator:
    return page.locator(".finding", has_text=words)


def told(page: Page, wanted: list[tuple[str | None, float | None]]) -> None:
    """Wait until a check with these bends is the one that is shown."""

    def there() -> bool:
        # Asked once: between two questions the page may go to another check.
        report = "/checks/" in page.url and check_of(page).get("report")
        return bool(report) and bends_in(report["parts"][0]) == wanted

    soon(page, there)
    shown(page)


def radius_told(page: Page, wanted: float) -> None:
    """Wait until a check with this radius for all bends is the one that is shown."""

    def there() -> bool:
        report = check_of(page).get("report")
        return bool(report) and {x["radius_mm"] for x in report["parts"][0]["part"]["bends"]} == {wanted}

    soon(page, there)
    shown(page)


@pytest.mark.parametrize("size", [(1280, 850), (390, 844)])
def test_direction_and_angle_are_said_in_their_findings(page: Page, tmp_path: Path, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    name = f"say-bends-{size[0]}"
    assert rules_of(checked(page, strip(tmp_path / "strip.dxf"), **CHOSEN)) >= MISSING
    wait_for_view(page)
    folded = page.locator(".view-tools").get_by_role("button", name="Folded", exact=True)
    folded.click()
    expect(page.get_by_text("Not shown folded")).to_be_visible()

    finding(page, "whether 2 bends go up or down").locator(".finding-head").click()
    accessible(page, f"{name}-direction", tmp_path, full=False)
    ways = page.get_by_role("group", name="Which way do the 2 bends go?")
    ways.get_by_role("button", name="Up, towards you").focus()
    page.keyboard.press("Enter")
    told(page, [("up", None)] * 2)
    assert rules_of(part_of(page)) & MISSING == {"bend/angle-missing"}
    expect(page.locator("#findings")).to_be_focused()

    finding(page, "how far 2 bends go").locator(".finding-head").click()
    angle = page.get_by_label("How far do the 2 bends go from flat, in degrees?")
    expect(angle).to_have_attribute("placeholder", "90")
    # Nothing is sent for a field that says nothing, or what no bend can be.
    page.get_by_role("button", name="Use it for all 2").first.click()
    angle.fill("270")
    angle.press("Enter")
    assert angle.evaluate("x => x.matches(':invalid')")
    assert bends_in(part_of(page)) == [("up", None)] * 2
    # What is being written outlives another unit.
    angle.fill("90")
    page.get_by_role("button", name="in", exact=True).click()
    expect(angle).to_have_value("90")
    page.get_by_role("button", name="mm", exact=True).click()
    accessible(page, f"{name}-angle", tmp_path, full=False)
    angle.press("Enter")
    told(page, [("up", 90.0)] * 2)
    assert not rules_of(part_of(page)) & MISSING
    # One entry for each bend, with both.
    assert bends_said(page) == [(40.0, "up", 90.0), (80.0, "up", 90.0)]

    # What is still missing for it to be folded is asked for where that is said.
    radius = page.get_by_label("Inside radius of the 2 bends without one")
    radius.scroll_into_view_if_needed()
    accessible(page, f"{name}-radius", tmp_path, full=False)
    radius.fill("3mm")
    radius.press("Enter")
    radius_told(page, 3.0)
    expect(page.locator(".leaving")).to_have_count(0)
    wait_for_view(page)
    folded.click()
    expect(page.get_by_label("Bend 1, 90°")).to_be_visible()
    expect(page.get_by_text("Not shown folded")).to_have_count(0)

    # Another material keeps what was said of bends.
    page.locator("select[name=material]").select_option("steel-mild")
    soon(
        page,
        lambda: (check_of(page).get("report") or {"parts": [{"material": ""}]})["parts"][0]["material"] == "steel-mild",
    )
    shown(page)
    assert bends_in(part_of(page)) == [("up", 90.0)] * 2
    assert bends_said(page) == [(40.0, "up", 90.0), (80.0, "up", 90.0)]
    said = page.locator(".said-bends")
    expect(said.locator("li")).to_have_text(
        [
            "Bend at 40 mm, 20 mm: up, 90°Other wayTake back",
            "Bend at 80 mm, 20 mm: up, 90°Other wayTake back",
            "Inside radius where none is stated: 3 mmTake back",
        ]
    )
    # A picture on its way out is faded: its words are not to be read.
    expect(page.locator(".leaving")).to_have_count(0)
    wait_for_view(page)
    said.scroll_into_view_if_needed()
    accessible(page, f"{name}-said", tmp_path, full=False)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_bend_is_turned_taken_back_and_asked_for_again_alone(page: Page, tmp_path: Path) -> None:
    checked(page, strip(tmp_path / "strip.dxf"), **CHOSEN, bends="at 40,20 up 90; at 80,20 up 90 R3mm")
    said = page.locator(".said-bends li")
    expect(said).to_have_count(2)
    expect(said.nth(1)).to_contain_text("Bend at 80 mm, 20 mm: up, 90°, inside radius 3 mm")
    page.get_by_role("button", name="Other way: Bend at 80 mm").click()
    told(page, [("up", 90.0), ("down", 90.0)])
    page.get_by_role("button", name="Take back: Bend at 40 mm").click()
    told(page, [(None, None), ("down", 90.0)])
    finding(page, "whether a bend goes up or down").locator(".finding-head").click()
    page.get_by_role("button", name="Down, away from you").click()
    told(page, [("down", None), ("down", 90.0)])
    # The other keeps its radius.
    assert [x["radius_mm"] for x in part_of(page)["part"]["bends"]] == [None, 3.0]


def test_of_several_files_at_once_it_is_said_where_bends_are_asked_for(
    page: Page, service: Running, tmp_path: Path
) -> None:
    data = strip(tmp_path / "strip.dxf").read_bytes()
    answer = service.send([("one.dxf", data), ("two.dxf", data)], CHOSEN)
    assert answer.status in (200, 202)
    page.goto(f"/checks/{answer.json['id']}")
    shown(page)
    finding(page, "whether 2 bends go up or down").locator(".finding-head").click()
    expect(page.locator(".finding.open")).to_contain_text("asks for it where a file is checked by itself")
    expect(page.get_by_role("button", name="Up, towards you")).to_have_count(0)


def test_a_radius_is_asked_for_where_a_rule_waits_for_it(page: Page, tmp_path: Path) -> None:
    checked(page, strip(tmp_path / "strip.dxf"), **CHOSEN, bends="at 40,20 up 90; at 80,20 down 90")
    radius = page.get_by_label("Inside radius of the 2 bends without one")
    radius.fill("3mm")
    radius.press("Enter")
    radius_told(page, 3.0)
    assert bends_in(part_of(page)) == [("up", 90.0), ("down", 90.0)]
    assert "bend/radius-too-tight" in part_of(page)["checked"]
    expect(radius).to_have_count(0)
    page.get_by_role("button", name="Take back: Inside radius where none is stated: 3 mm").click()
    expect(radius).to_be_visible()
    assert bends_in(part_of(page)) == [("up", 90.0), ("down", 90.0)]


def test_places_that_were_said_in_another_unit_are_asked_for_anew(page: Page, tmp_path: Path) -> None:
    file = strip(tmp_path / "strip.dxf")
    drawing = ezdxf.readfile(file)
    drawing.units = 0
    drawing.saveas(file)
    drop(page, file)
    shown(page)
    finding(page, "whether 2 bends go up or down").locator(".finding-head").click()
    page.get_by_role("button", name="Up, towards you").click()
    told(page, [("up", None)] * 2)
    page.locator("select[name=units]").select_option("in")
    told(page, [(None, None)] * 2)
    assert "bends" not in check_of(page)["choices"]
