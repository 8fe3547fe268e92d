"""The page in a real browser: from a dropped file to a ranked list with lit geometry."""

from __future__ import annotations

import json
from pathlib import Path

from page.paths import checked, drop, expect_lit, picture, wait_for_view
from playwright.sync_api import Page, expect


def report_of(page: Page) -> dict:
    check = page.url.rsplit("/", 1)[1]
    answer = page.request.get(f"/api/v1/checks/{check}/report.json")
    assert answer.ok
    return json.loads(answer.body())


def test_a_dropped_body_ends_in_a_ranked_list_with_lit_faces(page: Page, demo: Path, tmp_path: Path) -> None:
    picture(page, "start", tmp_path)
    drop(page, demo / "faulty" / "housing.stl")
    expect(page.locator(".verdict h1")).to_contain_text("warning")
    expect(page.locator(".view-body canvas")).to_be_visible()
    findings = report_of(page)["parts"][0]["findings"]
    heads = page.locator(".finding-head")
    expect(heads).to_have_count(len(findings))
    wait_for_view(page)
    picture(page, "body", tmp_path)
    for i, finding in enumerate(findings):
        expect(heads.nth(i)).to_contain_text(finding["message"].split(";")[0].split(",")[0])
        heads.nth(i).click()
        expect(page.locator(".finding.open")).to_contain_text(finding["remedy"])
        # Faces are sent sorted: as many are lit as the report names, and the same ones on a second look.
        lit = page.evaluate("window.lintsvcLit()")
        assert len(lit) == len(finding["where"]["faces"])
    picture(page, "body-finding", tmp_path)


def test_a_flat_shows_its_findings_as_lit_entities(page: Page, demo: Path, tmp_path: Path) -> None:
    drop(page, demo / "faulty" / "gasket.dxf")
    expect(page.locator(".verdict h1")).not_to_be_empty()
    expect(page.locator(".flat-drawing")).to_be_visible()
    page.select_option("select[name=material]", "rubber")
    page.fill("input[name=thickness]", "2mm")
    page.press("input[name=thickness]", "Tab")
    expect(page.locator(".facts")).to_contain_text("2 mm")
    expect(page.locator(".finding-head").first).to_be_visible()
    findings = report_of(page)["parts"][0]["findings"]
    assert findings
    heads = page.locator(".finding-head")
    expect(heads).to_have_count(len(findings))
    wait_for_view(page)
    for i, finding in enumerate(findings):
        if finding["where"] is None or not finding["where"].get("entities"):
            continue
        heads.nth(i).click()
        expect(page.locator(".finding.open")).to_have_count(1)
        expect_lit(page, finding["where"]["entities"])
        expect(page.locator(".flat-light-chosen:not(.flat-light-hint)")).to_have_count(1)
    picture(page, "flat-finding", tmp_path)


def test_choosing_a_place_in_the_flat_chooses_the_finding(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "bracket.dxf")
    # Attached, not visible: an upright line has no width in the browser's eyes.
    expect(page.locator(".flat-light").first).to_be_attached()
    page.locator(".flat-light").first.dispatch_event("click")
    expect(page.locator(".finding.open")).to_have_count(1)


def test_a_reload_in_the_middle_comes_back_to_the_check(page: Page, demo: Path) -> None:
    drop(page, demo / "faulty" / "housing.stl")
    page.wait_for_url("**/checks/*")
    page.reload()
    expect(page.locator(".verdict h1")).to_contain_text("warning")


def test_inches_are_shown_everywhere_when_chosen(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "lid.stl")
    expect(page.locator(".facts")).to_contain_text("mm")
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.locator(".facts")).to_contain_text("3.937")
    expect(page.locator(".facts dd").first).not_to_contain_text("mm")


def test_keys_walk_through_the_findings(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    page.keyboard.press("j")
    expect(page.locator(".finding").nth(0)).to_have_class("finding finding-warning open")
    page.keyboard.press("j")
    expect(page.locator(".finding").nth(1)).to_have_class("finding finding-warning open")
    page.keyboard.press("Escape")
    expect(page.locator(".finding.open")).to_have_count(0)


def test_nothing_sticks_out_on_a_phone(page: Page, demo: Path, tmp_path: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    checked(page, demo / "faulty" / "housing.stl")
    expect(page.locator(".view-body canvas")).to_be_visible()
    page.locator(".finding-head").first.click()
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        picture(page, f"phone-{theme}", tmp_path)


def test_a_name_with_markup_is_shown_as_text(page: Page, demo: Path, tmp_path: Path) -> None:
    named = tmp_path / "<img src=x onerror=alert(1)>.stl"
    named.write_bytes((demo / "good" / "lid.stl").read_bytes())
    drop(page, named)
    expect(page.locator(".file-name")).to_contain_text("<img src=x")
    assert page.locator(".file-name img").count() == 0


def test_a_check_that_is_not_there_says_so(page: Page) -> None:
    page.goto("/checks/nothing-of-that-name")
    expect(page.locator(".verdict h1")).to_contain_text("not there")
