"""A running service and a real browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from service.running import Running

from lintsvc.demo import write_demo

#: The library's own 5 s are too few on a machine that does other things too; what is there at once costs nothing.
expect.set_options(timeout=30_000)

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
#: No sandbox, because tests may run as root; software drawing, because there may be no graphics card; and none of the
#: browser's own traffic.
ARGUMENTS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


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
        chromium = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
        yield chromium
        chromium.close()


def address_of(service: Running) -> str:
    return f"http://{service.host}:{service.port}"


@pytest.fixture
def page(browser: Browser, service: Running) -> Iterator[Page]:
    """A fresh page at the start; fails the test on any script error or outside request."""
    # With less motion the view is at once where it would fly to; that it flies is tested where it is meant.
    context = browser.new_context(
        viewport={"width": 1280, "height": 850}, base_url=address_of(service), reduced_motion="reduce"
    )
    opened = context.new_page()
    troubles: list[str] = []
    opened.on("pageerror", lambda error: troubles.append(str(error)))
    # The browser itself logs an answer 404, which a missing check, and a flat that cannot be folded, rightly give.
    opened.on(
        "console",
        lambda message: (
            troubles.append(f"{message.text} {message.location['url']}")
            if message.type == "error" and not re.search(r"/api/v1/checks/nothing|/folded$", message.location["url"])
            else None
        ),
    )
    own = (address_of(service), "data:", "blob:")
    opened.on("request", lambda request: None if request.url.startswith(own) else troubles.append(request.url))
    opened.goto("/")
    yield opened
    context.close()
    assert troubles == []
