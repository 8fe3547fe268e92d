"""From a list of findings to a decision: materials, versions, setting aside, choices, sharing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from page.paths import check_id, check_of, checked, drop, expect_lit, lit, opened, part_of, picture, soon, wait_for_view
from parts.flatfiles import circle, dxf, rectangle
from playwright.sync_api import Browser, Page, expect
from service.running import Running

from lintsvc.handbook.materials import materials


def test_every_material_stands_in_the_table_and_using_one_checks_again(page: Page, demo: Path, tmp_path: Path) -> None:
    before = checked(page, demo / "faulty" / "housing.stl")
    opened(page, "Compare materials")
    rows = page.locator("table.materials tbody tr")
    expect(rows).to_have_count(sum("powder-bed" in x.processes for x in materials()))
    chosen = page.locator("table.materials tr.chosen")
    expect(chosen).to_contain_text("PA12")
    expect(chosen).to_contain_text(f"{sum(x['level'] == 'warning' for x in before['findings'])} warnings")
    # The worst miss stands there with both numbers and by how much.
    worst = before["findings"][0]
    share = round(100 * abs(worst["measured"]["value"] / worst["limit"]["value"] - 1))
    expect(chosen).to_contain_text(f"{share} %")
    expect(chosen).to_contain_text("1 ×")
    picture(page, "materials-body", tmp_path)
    page.get_by_role("button", name="Use PA11, laser sintered").click()
    expect(page.locator(".verdict-line")).to_contain_text("pa11")
    expect(page.locator("table.materials tr.chosen")).to_contain_text("PA11")
    assert part_of(page)["material"] == "pa11"
    assert check_of(page)["choices"]["material"] == "pa11"


def test_a_sheet_is_held_against_materials_and_their_stock(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "good" / "bracket.dxf")
    page.select_option("select[name=material]", "aluminium-5052-h32")
    page.get_by_role("button", name="2.5 mm", exact=True).click()
    expect(page.locator(".verdict-line")).to_contain_text("2.5 mm aluminium-5052-h32")
    opened(page, "Compare materials")
    expect(page.locator("table.materials tr.chosen")).to_contain_text("2.5 mm")
    # One line a material at first; all its thicknesses on demand.
    expect(page.locator("table.materials tbody")).to_have_count(sum("sheet" in x.processes for x in materials()))
    first = page.locator("table.materials tbody").first
    expect(first.locator("tr")).to_have_count(1)
    first.get_by_role("button", name=re.compile("All .* thicknesses")).click()
    soon(page, lambda: first.locator("tr").count() > 2)
    picture(page, "materials-sheet", tmp_path)
    page.get_by_label("Only what passes").check()
    expect(page.locator("table.materials tr:not(.chosen) .mark-error")).to_have_count(0)
    soon(page, lambda: page.locator("table.materials tr").count() > 2)


def test_two_versions_show_what_is_gone_and_light_where_the_shape_differs(
    page: Page, demo: Path, tmp_path: Path
) -> None:
    old = checked(page, demo / "faulty" / "housing.stl")
    old_id = check_id(page)
    checked(page, demo / "good" / "housing.stl")
    wait_for_view(page)
    opened(page, "Compare with an earlier version")
    select = page.locator("select[name=old]")
    expect(select).to_be_visible()
    # Those of the same name come first.
    assert "housing.stl" in select.locator("option").nth(1).inner_text()
    select.select_option(old_id)
    expect(page.locator(".versions-sum")).to_contain_text(f"{len(old['findings'])} findings gone, 0 new")
    expect(page.locator(".versions-gone li")).to_have_count(len(old["findings"]))
    expect(page.locator(".changes")).to_contain_text("volume")
    answer = page.request.get(f"/api/v1/checks/{check_id(page)}/files/0/versions?old={old_id}").json()
    meant = [face for first, count in answer["shape"]["faces"] for face in range(first, first + count)]
    assert meant
    expect_lit(page, meant)
    picture(page, "versions", tmp_path)
    page.get_by_role("button", name="Show it in the view").click()
    expect_lit(page, [])


def test_an_older_file_can_be_sent_for_the_comparison(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "gasket.dxf")
    wait_for_view(page)
    opened(page, "Compare with an earlier version")
    page.set_input_files("#old-file", demo / "faulty" / "gasket.dxf")
    expect(page.locator(".versions-sum")).to_contain_text("gone")
    soon(page, lambda: lit(page) != [])


def test_a_finding_set_aside_with_a_reason_leaves_the_verdict_and_comes_back(
    page: Page, demo: Path, tmp_path: Path
) -> None:
    findings = checked(page, demo / "faulty" / "lid.stl")["findings"]
    assert len(findings) == 1
    expect(page.locator(".verdict h1")).to_contain_text("1 warning")
    page.locator(".finding-head").first.click()
    page.get_by_role("button", name="Set aside …").click()
    # The reason is asked for, and the field has the focus.
    expect(page.locator("input[name=reason]")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".aside-form")).to_be_visible()
    page.keyboard.type("a film, cut away after printing")
    picture(page, "set-aside", tmp_path)
    page.keyboard.press("Enter")
    expect(page.locator(".verdict h1")).to_contain_text("Nothing found wrong")
    expect(page.locator(".verdict-line")).to_contain_text("1 set aside")
    expect(page.locator(".asides summary")).to_have_text("1 set aside")
    # It is there after a reload, for these bytes, and in the report.
    page.reload()
    expect(page.locator(".asides summary")).to_have_text("1 set aside")
    report = page.request.get(f"/api/v1/checks/{check_of(page)['id']}/report.html")
    assert "cut away after printing" in report.text()
    page.locator(".asides summary").click()
    page.locator(".asides .finding-head").click()
    expect(page.locator(".asides .finding.open")).to_contain_text("cut away after printing")
    page.get_by_role("button", name="Let it count again").click()
    expect(page.locator(".verdict h1")).to_contain_text("1 warning")


def test_many_findings_of_one_cause_are_one_line_that_opens(page: Page, tmp_path: Path) -> None:
    holes = "".join(circle(10.0 + 8 * k, 10.0, 0.3 + 0.07 * k) for k in range(9))
    file = tmp_path / "many.dxf"
    file.write_text(dxf(rectangle(90.0, 20.0) + holes))
    drop(page, file)
    expect(page.locator("select[name=material]")).to_be_visible()
    page.select_option("select[name=material]", "steel-mild")
    page.get_by_role("button", name="3 mm", exact=True).click()
    group = page.locator(".finding-group", has_text="Round hole too small")
    expect(group).to_have_count(1)
    found = [x for x in part_of(page)["findings"] if x["rule"] == "sheet/hole-too-small"]
    assert len(found) > 3
    expect(group.locator(".finding-head").first).to_contain_text(f"{len(found)} ×")
    expect(group.locator(".finding")).to_have_count(0)
    picture(page, "group", tmp_path)
    group.locator(".finding-head").first.click()
    expect(group.locator(".finding")).to_have_count(len(found))
    # Going on by key goes through the members, and opens the line by itself.
    group.locator(".finding-head").first.click()
    page.keyboard.press("j")
    expect(page.locator(".finding.open")).to_have_count(1)


def test_a_remedy_has_its_drawing_and_the_words_of_its_rule(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    page.locator(".finding-head", has_text="Wall").click()
    more = page.locator(".finding.open")
    expect(more.locator("svg.sketch")).to_have_count(2)
    expect(more.locator(".sketches")).to_have_attribute("aria-hidden", "true")
    more.locator("summary", has_text="About this rule").click()
    expect(more).to_contain_text("It may stay when")


def test_inches_reach_the_findings_the_table_and_the_choices(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "bracket.dxf")
    page.get_by_role("button", name="in", exact=True).click()
    page.select_option("select[name=material]", "aluminium-5052-h32")
    page.get_by_role("button", name="0.1 in", exact=True).first.click()
    expect(page.locator(".verdict-line")).to_contain_text("0.1 in aluminium")
    opened(page, "Compare materials")
    expect(page.locator("table.materials tr.chosen")).to_contain_text("0.1 in")
    expect(page.locator("table.materials tr.chosen")).to_contain_text("oz")


def test_what_does_not_matter_is_not_asked(page: Page, demo: Path) -> None:
    checked(page, demo / "good" / "lid.stl")
    # A mesh can only be printed: no question of the process, and its thickness is its own.
    expect(page.locator("select[name=process]")).to_have_count(0)
    expect(page.locator("input[name=thickness]")).to_have_count(0)
    # It states no unit, so that is asked; and the guess of the material says why.
    expect(page.locator("select[name=units]")).to_be_visible()
    expect(page.locator(".guess", has_text="usual powder-bed nylon")).to_be_visible()
    page.locator(".choices-more summary").click()
    page.fill("input[name=quantity]", "4")
    page.press("input[name=quantity]", "Tab")
    expect(page.locator(".good-for", has_text="together")).to_be_visible()
    assert check_of(page)["choices"]["quantity"] == "4"


def test_a_shared_link_shows_the_check_and_lets_nothing_be_changed(
    page: Page, demo: Path, browser: Browser, service: Running, tmp_path: Path
) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    opened(page, "Share a link")
    page.get_by_role("button", name="Make a link").click()
    link = page.locator(".share-link").input_value()
    assert "#check=" in link
    picture(page, "share", tmp_path)
    context = browser.new_context(viewport={"width": 1280, "height": 850})
    other = context.new_page()
    other.goto(link)
    expect(other.locator(".finding-head")).to_have_count(3)
    expect(other.locator(".view canvas")).to_be_visible()
    other.locator(".finding-head").first.click()
    expect(other.get_by_role("button", name="Set aside …")).to_have_count(0)
    expect(other.locator("select[name=material]")).to_have_count(0)
    expect(other.get_by_role("button", name="Delete this check")).to_have_count(0)
    address = other.locator(".links a", has_text="Report (HTML)").get_attribute("href")
    assert address is not None
    assert "share=" in address
    page.get_by_role("button", name="Revoke").click()
    expect(page.locator(".share-list li")).to_have_count(0)
    context.close()


def test_reports_of_all_kinds_can_be_taken_along(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "gasket.dxf")
    for kind in ("html", "pdf", "json", "sarif", "xml"):
        with page.expect_download() as download:
            page.locator(f".links a[href*='report.{kind}']").click()
        assert download.value.suggested_filename.startswith("gasket.report."), kind
        assert Path(download.value.path()).stat().st_size > 200, kind


@pytest.mark.needs_shared
def test_a_solid_ordered_in_another_sheet_is_told_so(page: Page, shared: Path) -> None:
    checked(page, shared / "corpus/open/step/MINI-steel-sheet.stp", process="sheet", material="steel-mild")
    # Its own thickness stands there; another is only asked for among what seldom matters.
    expect(page.locator(".choice-said", has_text="measured on the solid")).to_contain_text("1.4 mm")
    expect(page.locator("input[name=thickness]")).to_be_hidden()
    page.locator(".choices-more summary").click()
    assert page.input_value("input[name=thickness]") == ""
    page.fill("input[name=thickness]", "2mm")
    page.locator("input[name=thickness]").press("Enter")
    expect(page.locator(".findings")).to_contain_text("The solid is 1.4 mm thick; 2 mm was said.")
    # It is seen that it was said, and can be taken back.
    assert page.input_value("input[name=thickness]") == "2mm"
    page.fill("input[name=thickness]", "")
    page.locator("input[name=thickness]").press("Enter")
    expect(page.locator(".findings")).not_to_contain_text("2 mm was said")


def test_the_table_of_materials_does_not_widen_the_page_of_a_phone(page: Page, demo: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    checked(page, demo / "faulty" / "housing.stl")
    opened(page, "Compare materials")
    expect(page.locator("table.materials tr.chosen")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
