"""A running service and a real browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from page.paths import LONG, SIZE
from playwright.sync_api import Browser, Page, expect, sync_playwright
from service.running import Running

from lintsvc.demo import write_demo

#: No test is about how long something takes: what is there at once costs nothing, and a machine under load is slow.
expect.set_options(timeout=LONG)

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
#: No sandbox, because tests may run as root; software drawing, because there may be no graphics card; and none of the
#: browser's own traffic.
ARGUMENTS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
#: Only the view is drawn as a graphics card would: the page around it too would be most of the work of a picture.
SPARING = ["--disable-gpu-compositing"]


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """`lintsvc serve` with the built page."""
    running = Running(tmp_path_factory.mktemp("page") / "state", {"LINTSVC_REQUESTS_A_MINUTE": "0"}).start()
    try:
        running.wait_ready()
        yield running
    finally:
        assert running.stop() == 0, running.words()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's files."""
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return folder


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium."""
    program = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    assert program is not None, "the tests of the page need Chromium"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=[*ARGUMENTS, *SPARING])
        yield chromium
        chromium.close()


def address_of(service: Running) -> str:
    return f"http://{service.host}:{service.port}"


@contextmanager
def window(browser: Browser, service: Running, **options: Any) -> Iterator[tuple[Page, list[str]]]:
    """A window of a browser that knows nothing yet, and the script errors and outside requests that it has."""
    # With less motion the view is at once where it would fly to; that it flies is tested where it is meant.
    told = {"viewport": SIZE, "reduced_motion": "reduce"} | options
    context = browser.new_context(base_url=address_of(service), **told)
    context.set_default_timeout(LONG)
    opened = context.new_page()
    troubles: list[str] = []
    opened.on("pageerror", lambda error: troubles.append(str(error)))
    # The browser itself logs an answer 404, which a missing check, a flat that cannot be folded, and results that
    # cannot be read, rightly give.
    opened.on(
        "console",
        lambda message: (
            troubles.append(f"{message.text} {message.location['url']}")
            if message.type == "error"
            and not re.search(r"/api/v1/checks/nothing|/folded$|/arrivals/\w+$", message.location["url"])
            else None
        ),
    )
    own = (address_of(service), "data:", "blob:")
    opened.on("request", lambda request: None if request.url.startswith(own) else troubles.append(request.url))
    try:
        yield opened, troubles
    finally:
        context.close()


@pytest.fixture(scope="module")
def shared_window(browser: Browser, service: Running) -> Iterator[tuple[Page, list[str]]]:
    """The window of the tests of one file: starting one costs more than most of them do."""
    with window(browser, service) as opened:
        yield opened


def at_the_start(opened: Page) -> Page:
    """The start, as in a window that knows nothing yet."""
    opened.unroute_all(behavior="ignoreErrors")
    opened.context.set_offline(False)
    opened.set_viewport_size(SIZE)
    opened.emulate_media(color_scheme="light", reduced_motion="reduce")
    # A small answer of the service, on which nothing of the page runs: what it keeps is forgotten there.
    opened.goto("/healthz")
    opened.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    opened.goto("/")
    return opened


@pytest.fixture
def page(shared_window: tuple[Page, list[str]]) -> Iterator[Page]:
    """The page at the start; fails the test on any script error or outside request."""
    opened, troubles = shared_window
    troubles.clear()
    yield at_the_start(opened)
    assert troubles == []
