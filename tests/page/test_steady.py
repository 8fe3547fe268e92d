"""Nothing jumps under the eyes, and everything can be done from the keyboard."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import brotli
import pytest
from page.conftest import window
from page.paths import checked, drop, opened, picture, wait_for_view
from playwright.sync_api import Browser, Page, Route, expect
from service.running import Running

#: Adds up how far things moved that nobody had just touched: the sum of layout shifts (Layout Instability, W3C draft).
WATCH = """
window.shifts = [];
new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) {
        if (entry.hadRecentInput) continue;
        const rect = (r) => [r.x, r.y, r.width, r.height].map(Math.round).join(" ");
        const name = (x) => x && (x.className || x.nodeName);
        const moved = entry.sources.map((x) => `${name(x.node)}: ${rect(x.previousRect)} to ${rect(x.currentRect)}`);
        window.shifts.push([entry.value, moved]);
    }
}).observe({ type: "layout-shift", buffered: true });
"""
#: Up to 0.1 counts as good (web.dev, "Cumulative Layout Shift"); a tenth of that cannot be seen.
MOST_SHIFT = 0.01


def shifts(page: Page) -> list[object]:
    return page.evaluate("window.shifts")


@pytest.mark.parametrize("size", [(1280, 850), (390, 844)])
@pytest.mark.parametrize("name", ["housing.stl", "bracket.dxf"])
def test_nothing_jumps_from_the_drop_to_the_verdict_and_with_another_choice(
    browser: Browser, service: Running, demo: Path, name: str, size: tuple[int, int]
) -> None:
    width, height = size
    with window(browser, service, viewport={"width": width, "height": height}) as (page, _):
        page.add_init_script(WATCH)
        page.goto("/")
        expect(page.locator(".before")).not_to_be_empty()
        drop(page, demo / "faulty" / name)
        expect(page.locator(".finding-head").first).to_be_visible()
        at_rest(page)
        moved = shifts(page)
        assert sum(x[0] for x in moved) <= MOST_SHIFT, moved
        # By script, so that no recent input excuses what moves.
        choose_material(page, page.locator("select[name=material] option").nth(2).get_attribute("value") or "")
        at_rest(page)
        again = shifts(page)[len(moved) :]
        assert sum(x[0] for x in again) <= 0.1, again


def at_rest(page: Page) -> None:
    """Wait until all is there that comes by itself: the view, and after it the lists of what the part has."""
    wait_for_view(page)
    expect(page.locator(".view.leaving")).to_have_count(0)
    expect(page.locator(".feature").first).to_be_visible()
    # What moved is told after the next pictures.
    page.wait_for_timeout(500)


def test_a_check_is_read_decided_and_shared_from_the_keyboard_alone(page: Page, demo: Path, tmp_path: Path) -> None:
    def press(*keys: str) -> None:
        for key in keys:
            page.keyboard.press(key)

    def go_to(words: str, key: str = "Tab", most: int = 150) -> None:
        """Go on with Tab until the focus is on something of that name."""
        for _ in range(most):
            page.keyboard.press(key)
            name = page.evaluate(
                """() => {
                    const x = document.activeElement;
                    // Past the last thing the focus is on the page itself, whose text is every word there is.
                    if (x === document.body) return "";
                    return (x.getAttribute("aria-label") || x.labels?.[0]?.textContent || x.textContent || "").trim();
                }"""
            )
            if words in name:
                return
        raise AssertionError(f"the keyboard does not reach {words!r}")

    # The field for files takes the focus and shows it.
    go_to("Choose files", most=12)
    page.set_input_files("#files", demo / "faulty" / "housing.stl")
    expect(page.locator(".finding-head").first).to_be_visible()
    press("j", "j")
    expect(page.locator(".finding").nth(1)).to_have_class("finding finding-warning open")
    go_to("Set aside …")
    press("Enter")
    page.keyboard.type("agreed with the shop")
    press("Enter")
    expect(page.locator(".asides summary")).to_have_text("1 set aside")
    go_to("Compare materials")
    press("Enter")
    expect(page.locator("table.materials")).to_be_visible()
    go_to("Use PA11, laser sintered")
    press("Enter")
    expect(page.locator(".verdict-line")).to_contain_text("pa11")
    go_to("Share a link")
    press("Enter")
    # What the panel shows is asked for when it opens; Tab would go past it.
    expect(page.locator(".share-form")).to_be_visible()
    go_to("Make a link")
    press("Enter")
    expect(page.locator(".share-link")).to_be_visible()
    go_to("Revoke")
    press("Enter")
    expect(page.locator(".share-list li")).to_have_count(0)
    picture(page, "keyboard", tmp_path)
    # Let it count again, for the tests that come after.
    page.locator(".asides summary").focus()
    press("Enter")
    go_to("Slot", most=10) if page.locator(".asides", has_text="Slot").count() else go_to("Wall", most=10)
    press("Enter")
    go_to("Let it count again", most=10)
    press("Enter")
    expect(page.locator(".asides")).to_have_count(0)


def choose_material(page: Page, id: str) -> None:
    """Choose another material by script, so that the focus and the hands stay where they are."""
    page.evaluate(
        """id => {
            const select = document.querySelector("select[name=material]");
            select.value = id;
            select.dispatchEvent(new Event("change", { bubbles: true }));
        }""",
        id,
    )
    expect(page.locator(".verdict-line")).to_contain_text(id)


def test_open_panels_keep_the_focus_and_what_was_chosen_in_them_when_a_new_check_comes(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "gasket.dxf")
    held = "[document.activeElement.name || document.activeElement.dataset.focus, document.activeElement.value]"
    table = page.locator("details.opening", has=page.locator("table.materials"))
    opened(page, "Compare materials")
    expect(table).to_have_count(1)
    table.locator("input[name=passing]").check()
    opened(page, "Share a link")
    page.locator("select[name=days]").select_option("7")
    page.locator("select[name=days]").focus()
    choose_material(page, "birch-plywood")
    # The panel asks the service anew; then the field has the focus again, as it was left.
    page.locator("select[name=days]").wait_for()
    expect(page.locator("select[name=days]")).to_be_focused()
    assert page.evaluate(held) == ["days", "7"]
    expect(table.locator("input[name=passing]")).to_be_checked()
    # A button that is no more leaves the focus at the head of its panel.
    table.locator("input[name=passing]").uncheck()
    use = table.locator("[data-focus^='use-acrylic']").first
    use.focus()
    use.press("Enter")
    expect(page.locator(".verdict-line")).to_contain_text("acrylic")
    expect(table.locator("tr.chosen th")).to_contain_text("Acrylic")
    expect(table.locator("summary")).to_be_focused()


def test_a_hundred_findings_of_one_rule_stay_near_and_are_not_drawn_anew_for_each(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "gasket.dxf")

    def many(route: Route) -> None:
        answer = route.fetch()
        check = answer.json()
        part = check["report"]["parts"][0]
        part["findings"] = [{**part["findings"][0], "fingerprint": f"{n:016x}"} for n in range(100)]
        route.fulfill(response=answer, json=check)

    page.route(re.compile(r"/api/v1/checks/[\w-]+(\?.*)?$"), many)
    page.reload()
    group = page.locator(".finding-group")
    head = group.locator(".finding-head").first
    expect(head).to_contain_text("100 ×")
    head.click()
    items = group.locator(".finding")
    expect(items).to_have_count(100)
    assert group.bounding_box()["height"] < 800
    page.evaluate("document.querySelectorAll('.finding-group .finding').forEach(x => { x.kept = true; })")
    items.nth(40).locator(".finding-head").click()
    expect(items.nth(40)).to_have_class(re.compile("open"))
    items.nth(90).locator(".finding-head").press("Enter")
    expect(items.nth(90).locator(".finding-head")).to_be_focused()
    expect(group.locator(".finding.open")).to_have_count(1)
    kept = page.evaluate("[...document.querySelectorAll('.finding-group .finding')].filter(x => x.kept).length")
    assert kept == 98
    # The head closes it, whatever was chosen since it was drawn.
    head.click()
    expect(items).to_have_count(0)


def test_the_page_is_sent_packed_and_is_small_enough(service: Running) -> None:
    html = service.get("/").body.decode()
    names = [x.split('"')[0] for x in html.split('"/static/')[1:]]
    # The worker is named in the script.
    script = service.get(f"/static/{next(x for x in names if x.endswith('.js'))}").body.decode()
    names.append(script.split("/static/")[1].split('"')[0])
    total = len(html)
    for name in names:
        plain = service.get(f"/static/{name}")
        packed = service.get(f"/static/{name}", Accept_Encoding="br")
        assert packed.headers["content-encoding"] == "br"
        assert packed.headers["content-type"] == plain.headers["content-type"]
        assert brotli.decompress(packed.body) == plain.body
        total += len(packed.body)
        assert gzip.decompress(service.get(f"/static/{name}", Accept_Encoding="gzip").body) == plain.body
    assert total <= 300_000
