"""What somebody has typed or dropped stays what it was: half a reason, and files of one name from two folders."""

from __future__ import annotations

from pathlib import Path

from page.paths import checked, drop, soon, wait_for_view
from playwright.sync_api import Page, Route, expect


def test_a_reason_half_typed_outlives_the_report_of_another_choice(page: Page, demo: Path) -> None:
    part = checked(page, demo / "faulty" / "housing.stl")
    wait_for_view(page)
    page.locator(".finding-head").first.click()
    page.get_by_role("button", name="Set aside").click()
    reason = page.locator("input[name=reason]")
    reason.press_sequentially("the shop says")
    reason.press("Home")
    # The choice is made from elsewhere, as by a choice made just before the typing: the field keeps the focus.
    other = next(x for x in ("pa11", "tpu") if x != part["material"])
    page.evaluate(
        """material => {
            const choice = document.querySelector("select[name=material]");
            choice.value = material;
            choice.dispatchEvent(new Event("change", { bubbles: true }));
        }""",
        other,
    )
    expect(page.locator(".verdict-line")).to_contain_text(other)
    expect(reason).to_have_value("the shop says")
    expect(reason).to_be_focused()
    page.keyboard.type("yes: ")
    expect(reason).to_have_value("yes: the shop says")
    # Another finding does not take it away, and Escape does.
    page.locator(".finding-head").nth(1).click()
    page.locator(".finding-head").first.click()
    expect(reason).to_have_value("yes: the shop says")
    reason.press("Escape")
    expect(reason).to_have_count(0)
    page.get_by_role("button", name="Set aside").click()
    expect(reason).to_have_value("")


def test_a_choice_on_its_way_is_not_lost_where_the_form_would_be_drawn_anew(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "bracket.dxf")
    held: list[Route] = []
    page.route(
        "**/api/v1/checks*", lambda route: held.append(route) if route.request.method == "POST" else route.continue_()
    )
    page.select_option("select[name=material]", "aluminium-5052-h32")
    soon(page, lambda: bool(held))
    # Another unit draws all anew; the last report knows nothing of the choice.
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.locator(".facts")).to_contain_text(" in")
    expect(page.locator("select[name=material]")).to_have_value("aluminium-5052-h32")
    held[0].continue_()
    expect(page.locator(".verdict-line")).to_contain_text("5052")
    expect(page.locator("select[name=material]")).to_have_value("aluminium-5052-h32")


def test_files_of_one_name_are_told_apart_by_their_folders(page: Page, demo: Path, tmp_path: Path) -> None:
    for name, of in (("left", "good"), ("right", "faulty")):
        (tmp_path / "parts" / name).mkdir(parents=True)
        (tmp_path / "parts" / name / "bracket.dxf").write_bytes((demo / of / "bracket.dxf").read_bytes())
    (tmp_path / "parts" / "lid.stl").write_bytes((demo / "good" / "lid.stl").read_bytes())
    page.set_input_files("#folder", tmp_path / "parts")
    rows = page.locator(".order-name")
    expect(rows).to_have_count(3)

    def told() -> None:
        expect(rows.filter(has_text="in parts/left")).to_have_count(1)
        expect(rows.filter(has_text="in parts/right")).to_have_count(1)
        # A name of its own needs no more.
        expect(rows.filter(has_text="lid.stl")).not_to_contain_text("in parts")

    told()
    expect(page.locator(".list-page h1")).not_to_contain_text("of 3 files checked")
    page.reload()
    told()
    page.locator(".order-name a").first.click()
    expect(page.locator(".files button", has_text="parts/left/bracket.dxf")).to_have_count(1)


def test_a_dropped_file_keeps_its_own_name(page: Page, demo: Path) -> None:
    drop(page, demo / "good" / "lid.stl", demo / "good" / "housing.stl")
    expect(page.locator(".order-name")).to_have_count(2)
    expect(page.locator(".order-name").first).not_to_contain_text(" in ")
