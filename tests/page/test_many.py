"""Several files at once, and the states that help: stopped, too big, queue full, connection lost, page left."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from page.conftest import at_the_start, window
from page.paths import accessible, drop, picture
from parts.service_parts import box_stl
from playwright.sync_api import Browser, Page, Route, expect
from service.running import Running

#: Without workers everything waits, until it is stopped: states that last long enough to be looked at.
NARROW = {
    "LINTSVC_REQUESTS_A_MINUTE": "0",
    "LINTSVC_WORKERS": "0",
    "LINTSVC_UPLOAD_MIB": "1",
    "LINTSVC_QUOTA_WAITING": "2",
}


@pytest.fixture(scope="module")
def narrow(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A service that takes little: files of 1 MiB, two checks waiting, and nobody to work on them."""
    running = Running(tmp_path_factory.mktemp("narrow") / "state", NARROW).start()
    try:
        yield running
    finally:
        assert running.stop() == 0, running.words()


@pytest.fixture(scope="module")
def narrow_window(browser: Browser, narrow: Running) -> Iterator[Page]:
    """A window for that service."""
    with window(browser, narrow) as (opened, _):
        yield opened


@pytest.fixture
def waiting(narrow_window: Page, narrow: Running) -> Page:
    """The page of that service; nothing waits there yet."""
    for check in narrow.get("/api/v1/checks?limit=100").json["checks"]:
        narrow.request("DELETE", f"/api/v1/checks/{check['id']}")
    return at_the_start(narrow_window)


def part(folder: Path, name: str, length: float = 20.0) -> Path:
    path = folder / name
    path.write_bytes(box_stl(length, 20.0, 20.0))
    return path


def drag_in(page: Page, *paths: Path) -> None:
    """Drag files and folders of this machine in from outside, through the browser's own drag and drop."""
    box = page.locator(".drop").bounding_box()
    assert box is not None
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    data = {"items": [], "files": [str(x) for x in paths], "dragOperationsMask": 1}
    session = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, "data": data, **at})
    session.detach()


def test_a_folder_becomes_a_list_with_what_came_of_each_file(page: Page, demo: Path, tmp_path: Path) -> None:
    folder = tmp_path / "order" / "prints"
    folder.mkdir(parents=True)
    (folder.parent / "notes.txt").write_text("no part")
    for name in ("good/lid.stl", "faulty/housing.stl", "faulty/bracket.dxf"):
        shutil.copy(demo / name, folder)
    broken = folder / "broken.stl"
    broken.write_bytes((demo / "good" / "lid.stl").read_bytes()[:2000])
    # One that the browser may not read stops no other.
    (folder / "away.stl").write_bytes(b"")
    page.evaluate(
        """() => {
            const lose = (_, lost) => lost(new DOMException("", "NotFoundError"));
            const away = { isFile: true, name: "away.stl", file: lose };
            const within = (entry) => (entry.isFile ? (entry.name === away.name ? away : entry) : {
                isFile: false, name: entry.name, createReader: () => {
                    const reader = entry.createReader();
                    return { readEntries: (found, lost) => reader.readEntries((x) => found(x.map(within)), lost) };
                },
            });
            const real = DataTransferItem.prototype.webkitGetAsEntry;
            DataTransferItem.prototype.webkitGetAsEntry = function () { return within(real.call(this)); };
        }"""
    )
    drag_in(page, folder.parent)
    rows = page.locator(".order-item")
    expect(rows).to_have_count(5)
    expect(rows.filter(has_text="away.stl")).to_contain_text("The browser cannot read it.")
    expect(page.locator(".list-page details summary")).to_contain_text("1 file is no part file")
    expect(page.locator(".list-page h1")).to_have_text("3 of 5 files must not be sent yet")
    expect(rows.filter(has_text="housing.stl")).to_contain_text("3 warnings")
    expect(rows.filter(has_text="bracket.dxf")).to_contain_text("2 errors")
    expect(rows.filter(has_text="broken.stl")).to_contain_text("cannot be used")
    picture(page, "list", tmp_path)
    # Each opens as a check of its own, with the others beside it; and the address holds them all.
    rows.filter(has_text="housing.stl").get_by_role("link").click()
    expect(page.locator(".files button[aria-current]")).to_contain_text("housing.stl")
    expect(page.locator(".files button")).to_have_count(4)
    page.locator(".files button", has_text="broken.stl").click()
    expect(page.locator(".verdict h1")).to_contain_text("cannot be used")
    expect(page.locator(".verdict .why")).not_to_be_empty()
    page.locator(".files a", has_text="All 5 files").click()
    expect(rows).to_have_count(5)
    page.reload()
    expect(rows).to_have_count(4)
    expect(rows.filter(has_text="bracket.dxf")).to_contain_text("2 errors")


def test_each_file_of_a_list_can_be_stopped_by_itself(waiting: Page, tmp_path: Path) -> None:
    drop(waiting, part(tmp_path, "one.stl"), part(tmp_path, "two.stl", 21.0))
    rows = waiting.locator(".order-item")
    expect(rows.filter(has_text="Waiting for a free worker")).to_have_count(2)
    accessible(waiting, "list-waiting", tmp_path)
    waiting.get_by_role("button", name="Stop: one.stl").click()
    expect(rows.filter(has_text="one.stl")).to_contain_text("Stopped")
    expect(rows.filter(has_text="two.stl")).to_contain_text("Waiting for a free worker")
    expect(waiting.locator(".list-page h1")).to_have_text("1 of 2 files checked")
    waiting.get_by_role("button", name="Stop all").click()
    expect(rows.filter(has_text="two.stl")).to_contain_text("Stopped")


def test_a_full_queue_is_said_and_tried_again_until_there_is_room(waiting: Page, tmp_path: Path) -> None:
    drop(waiting, part(tmp_path, "one.stl"), part(tmp_path, "two.stl", 21.0), part(tmp_path, "three.stl", 22.0))
    expect(waiting.locator(".notes")).to_contain_text("The queue is full")
    expect(waiting.locator(".notes")).to_contain_text("Trying again in")
    accessible(waiting, "queue-full", tmp_path)
    expect(waiting.locator(".order-item", has_text="Waiting for a free worker")).to_have_count(2)
    first = waiting.locator(".order-item", has_text="Waiting for a free worker").first
    first.get_by_role("button").click()
    expect(waiting.locator(".order-item", has_text="Stopped")).to_have_count(1)
    # Its place is taken at once, however long the service asked to wait.
    expect(waiting.locator(".order-item", has_text="Waiting for a free worker")).to_have_count(2)
    expect(waiting.locator(".notes")).to_be_empty()


def test_a_file_that_is_too_big_is_told_before_it_is_sent(waiting: Page, tmp_path: Path) -> None:
    big = tmp_path / "big.stl"
    big.write_bytes(bytes(3 << 20))
    sent: list[str] = []
    waiting.on("request", lambda request: sent.append(request.method) if request.method == "POST" else None)
    waiting.set_input_files("#files", big)
    expect(waiting.locator(".status")).to_contain_text("3 MiB; this service takes at most 1 MiB")
    accessible(waiting, "too-big", tmp_path)
    assert sent == []


def test_an_upload_can_be_stopped_and_sent_again(waiting: Page, tmp_path: Path) -> None:
    held: list[Route] = []
    waiting.route(
        "**/api/v1/checks", lambda route: held.append(route) if route.request.method == "POST" else route.continue_()
    )
    waiting.set_input_files("#files", part(tmp_path, "one.stl"))
    expect(waiting.locator(".status")).to_contain_text("Sending the file")
    waiting.get_by_role("button", name="Stop this check").click()
    expect(waiting.locator(".status")).to_contain_text("it was not sent")
    waiting.unroute("**/api/v1/checks")
    waiting.get_by_role("button", name="Try again").click()
    waiting.wait_for_url("**/checks/*")


def test_a_reload_in_the_middle_comes_back_and_a_stopped_check_says_so(waiting: Page, tmp_path: Path) -> None:
    waiting.set_input_files("#files", part(tmp_path, "one.stl"))
    expect(waiting.locator(".verdict-line")).to_have_text("Waiting for a free worker")
    waiting.reload()
    expect(waiting.locator(".verdict-line")).to_have_text("Waiting for a free worker")
    accessible(waiting, "waiting", tmp_path)
    waiting.get_by_role("button", name="Stop this check").click()
    expect(waiting.locator(".verdict h1")).to_have_text("Stopped")
    accessible(waiting, "stopped", tmp_path)
    waiting.get_by_role("button", name="Check again").click()
    expect(waiting.locator(".verdict-line")).to_have_text("Waiting for a free worker")


def test_a_lost_connection_is_said_and_found_again(waiting: Page, narrow: Running, tmp_path: Path) -> None:
    waiting.set_input_files("#files", part(tmp_path, "one.stl"))
    expect(waiting.locator(".verdict-line")).to_have_text("Waiting for a free worker")
    waiting.context.set_offline(True)
    expect(waiting.locator(".toast")).to_contain_text("connection is lost")
    accessible(waiting, "offline", tmp_path, full=False)
    waiting.context.set_offline(False)
    expect(waiting.locator(".toast")).to_contain_text("connection is back")
    expect(waiting.locator(".toast")).to_be_hidden()
    # And it goes on: the check is stopped elsewhere, and the page hears of it.
    narrow.request("POST", f"/api/v1/checks/{waiting.url.rsplit('/', 1)[1]}/cancel")
    expect(waiting.locator(".verdict h1")).to_have_text("Stopped")


def test_files_not_sent_when_the_page_was_left_are_named(waiting: Page, tmp_path: Path) -> None:
    names = ["one.stl", "two.stl", "three.stl"]
    drop(waiting, *(part(tmp_path, name, 20.0 + n) for n, name in enumerate(names)))
    expect(waiting.locator(".order-item", has_text="Waiting for a free worker")).to_have_count(2)
    waiting.reload()
    expect(waiting.locator(".order-item")).to_have_count(2)
    # Three are sent at once; which of them is refused is not said.
    expect(waiting.locator(".notes")).to_contain_text(re.compile("were sent: (one|two|three).stl"))


def test_a_file_dropped_beside_the_place_for_it_is_taken_all_the_same(page: Page, demo: Path) -> None:
    drop(page, demo / "good" / "lid.stl", on="header")
    expect(page.locator(".order-item")).to_contain_text("lid.stl")
    expect(page.locator(".list-page h1")).to_contain_text("1 file checked")
