"""No violation of the accessibility rules that axe-core knows, in each state of the page, light and dark.

States that need a service of their own, or an order, are held against them where they are tested.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from page.paths import accessible, check_of, checked, drop, opened, violations, wait_for_view
from playwright.sync_api import Browser, Page, Route, expect


def test_the_start_and_states_in_between_have_no_violation(page: Page, demo: Path, tmp_path: Path) -> None:
    expect(page.locator(".before")).not_to_be_empty()
    accessible(page, "start", tmp_path)
    held: list[Route] = []
    page.route(
        "**/api/v1/checks", lambda route: held.append(route) if route.request.method == "POST" else route.continue_()
    )
    page.set_input_files("#files", demo / "good" / "lid.stl")
    expect(page.locator(".status")).to_contain_text("Sending the file")
    accessible(page, "sending", tmp_path)
    page.get_by_role("button", name="Stop this check").click()
    expect(page.locator(".status")).to_contain_text("it was not sent")
    accessible(page, "not-sent", tmp_path)
    page.unroute("**/api/v1/checks")
    page.goto("/checks/nothing-of-that-name")
    expect(page.locator(".verdict h1")).to_contain_text("not there")
    accessible(page, "not-there", tmp_path)


@pytest.mark.parametrize("name", ["housing.stl", "bracket.dxf"])
def test_a_report_with_all_that_opens_has_no_violation(page: Page, demo: Path, name: str, tmp_path: Path) -> None:
    checked(page, demo / "faulty" / name)
    wait_for_view(page)
    stem = name.partition(".")[0]
    accessible(page, f"report-{stem}", tmp_path)
    page.locator(".finding-head").first.click()
    expect(page.locator(".finding.open")).to_have_count(1)
    page.get_by_role("button", name="Set aside …").click()
    for title in ("Compare materials", "Compare with an earlier version", "Share a link"):
        opened(page, title)
    expect(page.locator("table.materials")).to_be_visible()
    page.get_by_role("button", name="Make a link").click()
    expect(page.locator(".share-made")).to_be_visible()
    page.set_input_files("#old-file", demo / "good" / name)
    expect(page.locator(".versions-sum")).to_be_visible()
    page.locator(".choices-more summary").click()
    accessible(page, f"all-open-{stem}", tmp_path)


def test_a_file_that_cannot_be_used_and_a_list_have_no_violation(page: Page, demo: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"no part at all")
    drop(page, broken, demo / "good" / "lid.stl")
    expect(page.locator(".list-page h1")).to_have_text("1 of 2 files must not be sent yet")
    accessible(page, "list", tmp_path)
    page.locator(".order-item a", has_text="broken.stl").click()
    expect(page.locator(".verdict .why")).to_be_visible()
    accessible(page, "unreadable", tmp_path)


def test_a_shared_check_has_no_violation(page: Page, demo: Path, browser: Browser) -> None:
    checked(page, demo / "good" / "gasket.dxf")
    made = page.request.post(f"/api/v1/checks/{check_of(page)['id']}/shares").json()
    context = browser.new_context()
    other = context.new_page()
    other.goto(page.url.partition("/checks")[0] + made["link"])
    expect(other.locator(".findings")).to_be_visible()
    wait_for_view(other)
    assert violations(other) == []
    context.close()
