"""Orders on the page: the order file written from dropped parts, what was found, what goes out, what arrived."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from page.conftest import window
from page.modules import run
from page.paths import SIZE, accessible, drop
from parts import gauge_order
from playwright.sync_api import Browser, Page, expect
from service.running import Running, form

from lintsvc.order.read import parse_order
from lintsvc.packet.write import packet_files
from lintsvc.rulebook.shop import parse_shop


@pytest.fixture(scope="module")
def order(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An order with its parts."""
    folder = tmp_path_factory.mktemp("order")
    gauge_order.write_order(folder)
    return folder


@pytest.fixture(scope="module")
def sent(service: Running, order: Path) -> str:
    """The address of that order at the service."""
    body, kind = form({}, [(x.name, x.read_bytes()) for x in sorted(order.iterdir())])
    answer = service.request("POST", "/api/v1/orders", body, {"Content-Type": kind})
    assert answer.status == 201, answer.body
    return f"/orders/{answer.json['id']}"


def opened(page: Page, sent: str) -> None:
    """Open the order, and wait for what came of it."""
    page.goto(sent)
    expect(page.locator(".verdict .file-name")).to_have_text("Stream-level gauge")


def test_an_order_dropped_at_the_start_finds_its_parts_by_name(page: Page, order: Path, tmp_path: Path) -> None:
    note = tmp_path / "notes.txt"
    note.write_text("no part")
    drop(page, *(x for x in sorted(order.iterdir()) if x.name != "lid.stl"), note)
    page.wait_for_url("**/orders")
    named = page.locator(".order-named li")
    expect(named).to_have_count(3)
    expect(page.locator(".order-page")).to_contain_text("1 file is missing: lid.stl.")
    expect(page.locator(".order-page")).to_contain_text("not sent: notes.txt")
    expect(named.filter(has_text="Missing")).to_have_text("lid.stl Missing")
    assert page.input_value("#order-text") == (order / "order.toml").read_text("utf-8")
    accessible(page, "order-missing", tmp_path)
    # What is dropped later comes to it, wherever on the page.
    drop(page, order / "lid.stl", on="header")
    expect(named.filter(has_text="Here")).to_have_count(3)
    expect(page.locator(".order-page")).to_contain_text("All of them are here.")
    page.get_by_role("button", name="Check the order").click()
    page.wait_for_url("**/orders/*")
    expect(page.locator(".verdict .file-name")).to_have_text("Stream-level gauge")


def test_files_that_an_order_names_are_read_from_it(tmp_path: Path) -> None:
    order = """
    # file = "no.stl"
    [order]
    shop = "shop.toml"
    [[ part ]]
    id = "a"
    file = "parts/a \\"1\\".stl" # as drawn
    [[part]]
    file = 'b\\c.dxf'
    [[bought]]
    file = "motor.step"
    shop = "no.toml"
    [[supplier]]
    name = "file = 'no.dxf'"
    """
    script = "return [page.namedFiles(given), page.isOrder(given), page.isOrder('[[parts]]'), page.isOrder('[hole]')]"
    found = run(tmp_path, "order/toml", script, order)
    assert found == [["shop.toml", 'a "1".stl', "c.dxf", "motor.step"], True, False, False]


def test_parts_without_an_order_file_get_one_written(page: Page, order: Path, tmp_path: Path) -> None:
    page.goto("/orders")
    drop(page, order / "bracket.dxf", order / "lid.stl")
    page.fill("#order-name", 'Gauge "two"')
    page.fill("#order-need-by", "2026-05-01")
    page.fill("[name='bracket.dxf:material']", "aluminium-5052-h32")
    page.fill("[name='bracket.dxf:thickness']", "2.5mm")
    page.select_option("[name='bracket.dxf:finish']", "anodise")
    page.fill("[name='lid.stl:quantity']", "3")
    # All fields of a part are seen, without scrolling sideways, on a phone too.
    for size in ({"width": 390, "height": 844}, SIZE):
        page.set_viewport_size(size)
        assert page.evaluate("(x => x.scrollWidth <= x.clientWidth)(document.querySelector('.table-scroll'))")
    accessible(page, "order-new", tmp_path)
    found = parse_order(page.input_value("#order-text"))
    assert found.order.name == 'Gauge "two"'
    assert str(found.order.need_by) == "2026-05-01"
    assert [(x.id, x.file, x.quantity, x.finish, x.thickness) for x in found.part] == [
        ("bracket", "bracket.dxf", 1, "anodise", 2.5),
        ("lid", "lid.stl", 3, "none", None),
    ]
    page.get_by_role("button", name="Check the order").click()
    expect(page.locator(".verdict .file-name")).to_have_text('Gauge "two"')
    expect(page.locator(".order-part")).to_have_count(2)


def test_text_changed_by_hand_stays_until_it_is_written_anew(page: Page, order: Path) -> None:
    page.goto("/orders")
    drop(page, order / "lid.stl")
    page.fill("#order-text", '[[part]]\nid = "a"\nfile = "lid.stl"\nquantity = 2\n')
    page.fill("#order-name", "Another name")
    assert "Another name" not in page.input_value("#order-text")
    page.get_by_role("button", name="Write it from the fields again").click()
    assert 'name = "Another name"' in page.input_value("#order-text")


def test_order_shows_findings_pages_and_hands_out_the_packet(
    page: Page, order: Path, sent: str, tmp_path: Path
) -> None:
    opened(page, sent)
    # What is wrong stands first, worst first, and leads to its part.
    found = page.locator(".order-wrong")
    expect(page.locator(".verdict h1")).to_contain_text("this order")
    ranks = {"error": 0, "warning": 1, "note": 2}
    levels = [next(y for y in ranks if f"finding-{y}" in (x.get_attribute("class") or "")) for x in found.all()]
    assert levels
    assert levels == sorted(levels, key=ranks.__getitem__)
    leads = found.locator(".order-where").first
    part = page.locator(".order-part", has=page.locator("summary b", has_text=re.compile(f"^{leads.inner_text()}$")))
    leads.press("Enter")
    expect(part.locator("summary")).to_be_focused()
    expect(part.locator(".opening-body")).to_be_visible()
    part.locator("summary").press("Enter")
    page.set_viewport_size({"width": 390, "height": 844})
    page.locator(".order-arrival summary").first.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator(".order-arrival summary").first.click()
    page.set_viewport_size(SIZE)
    whole = page.locator(".order-whole")
    expect(whole).to_contain_text("Calendar")
    expect(whole).to_contain_text("All there on Mon 2026-03-16.")
    expect(whole).to_contain_text("holes meet")
    page.locator(".order-part summary").first.click()
    expect(page.locator(".order-part").first.locator("img")).to_have_count(2)
    expect(page.locator(".order-part").first).to_contain_text("tap drill 3.3 mm")
    # Drawn, not a broken picture.
    for each in page.locator(".order-part").first.locator("img").all():
        each.scroll_into_view_if_needed()
        assert each.evaluate("x => x.decode().then(() => x.naturalWidth)") > 100
    accessible(page, "order", tmp_path)
    with page.expect_download() as download:
        page.get_by_role("link", name="Packet for the shops (zip)").click()
    with zipfile.ZipFile(io.BytesIO(Path(download.value.path()).read_bytes())) as packet:
        assert packet.read("parts/lid/lid.stl") == (order / "lid.stl").read_bytes()


def test_an_order_under_way_says_how_far_it_is_and_comes_back_from_trouble(
    browser: Browser, service: Running, sent: str, tmp_path: Path
) -> None:
    # Not the window of the other tests: what the browser logs of the troubles is no trouble here.
    with window(browser, service) as (page, _):
        under_way(page, sent, tmp_path)


def under_way(page: Page, sent: str, tmp_path: Path) -> None:
    now: dict[str, Any] = {"status": 202, "json": {"state": "being made", "step": "part: lid.stl", "percent": 25.0}}
    address = re.compile(r"/order\.json$")
    page.route(address, lambda route: route.fulfill(**now) if now else route.abort())
    page.goto(sent)
    step = page.locator(".verdict [role=status]")
    expect(step).to_have_text("The part lid.stl")
    assert page.locator("progress").evaluate("x => x.value") == 25
    accessible(page, "order-running", tmp_path)
    now["json"] = {"state": "being made", "step": "whole: fit/too-tight", "percent": 60.0}
    expect(step).to_have_text("How the parts go together: fit/too-tight")
    now.clear()
    expect(step).to_contain_text("The connection is lost")
    now |= {"status": 202, "json": {"state": "being made"}}
    expect(step).to_have_text("Waiting for a free worker")
    why = {"type": "urn:lintsvc:problem:failed", "detail": "it could not be made: it took too long"}
    now |= {"status": 500, "json": why, "headers": {"Retry-After": "2", "Content-Type": "application/problem+json"}}
    expect(page.get_by_role("alert")).to_have_text("It could not be made: it took too long.")
    accessible(page, "order-failed", tmp_path)
    page.get_by_role("button", name="Try again").click()
    expect(page.get_by_role("button", name="Trying again")).to_be_disabled()
    page.unroute(address)
    expect(page.locator(".order-whole")).to_be_visible()


def test_an_order_is_stopped_while_it_is_checked(page: Page, order: Path) -> None:
    page.route(re.compile(r"/order\.json$"), lambda route: route.fulfill(status=202, json={"state": "being made"}))
    page.goto("/orders")
    drop(page, order / "gasket.dxf")
    page.get_by_role("button", name="Check the order").click()
    page.wait_for_url("**/orders/*")
    gone = page.url
    page.get_by_role("button", name="Stop, and delete this order").click()
    page.wait_for_url("**/orders")
    assert page.request.get(gone.replace("/orders/", "/api/v1/orders/")).status == 404


def test_the_packet_is_read_on_a_phone_without_scrolling_sideways(browser: Browser, order: Path) -> None:
    html = packet_files(*gauge_order.checked(order / "order.toml"))["order.html"].decode()
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.set_content(html)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    context.close()


def test_outline_is_printed_from_the_page(page: Page, sent: str) -> None:
    opened(page, sent)
    part = page.locator(".order-part", has_text="gasket.dxf")
    part.locator("summary").click()
    part.get_by_label("Paper, gasket").select_option("Letter")
    part.get_by_label("Offset, gasket").fill("-0.5mm")
    with page.expect_download() as download:
        part.get_by_role("link", name="Print 1:1").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")


def test_results_typed_in_are_judged_and_become_a_shop_file(page: Page, sent: str, tmp_path: Path) -> None:
    opened(page, sent)
    panel = page.locator(".order-arrival")
    panel.get_by_role("button", name="Judge the pieces").click()
    expect(panel).to_contain_text("Nothing is measured yet.")
    panel.locator("summary", has_text="bracket").click()
    # What is no number is told of its field, which takes the focus.
    page.fill("[name='bracket:1:B1']", "square")
    panel.get_by_role("button", name="Judge the pieces").click()
    expect(panel.get_by_role("alert")).to_contain_text("bracket, Piece 1, B1: ")
    expect(page.locator("[name='bracket:1:B1']")).to_be_focused()
    expect(page.locator("[name='bracket:1:B1']")).to_have_attribute("aria-invalid", "true")
    page.fill("[name='bracket:1:D1']", "6,45")
    page.fill("[name='bracket:1:B1']", "89.5")
    page.fill("[name='bracket:2:D1']", "6.75")
    page.select_option("[name='bracket:3:At']", "yes")
    panel.get_by_role("button", name="Judge the pieces").click()
    outcome = panel.locator(".order-outcome")
    expect(outcome).to_contain_text("Rework bracket, Piece 1")
    expect(outcome).to_contain_text("open it with a drill or reamer")
    expect(outcome).to_contain_text("Reject bracket, Piece 2")
    expect(outcome).to_contain_text("Accept bracket, Piece 3")
    accessible(page, "order-arrival", tmp_path)
    with page.expect_download() as download:
        outcome.get_by_role("button", name="Save shop.toml").click()
    shop = parse_shop(Path(download.value.path()).read_text("utf-8"))
    assert {(x.what, x.supplier) for x in shop.measured} == {("hole", "laser"), ("bend", "laser")}
    bend = shop.figure("bend", "sheet", "aluminium-5052-h32", "laser")
    assert bend is not None
    assert bend.offset == pytest.approx(-0.5)
