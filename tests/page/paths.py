"""Steps that several tests of the page share."""

from __future__ import annotations

import base64
import json
import os
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from page.modules import PAGE
from playwright.sync_api import Page, expect

#: Where pictures of the main states go; without it none are taken: no test looks at them.
PICTURES = os.environ.get("LINTSVC_PICTURES")
#: ms: nothing is waited for longer. Every wait of these tests has it.
LONG = 90_000
#: A window in which the findings stand beside the view.
SIZE: Any = {"width": 1280, "height": 850}
#: From the page's own development packages.
AXE = PAGE / "node_modules/axe-core/axe.min.js"
#: Its rules of colour at levels A and AA.
COLOUR_RULES = ("color-contrast", "link-in-text-block")


def picture(page: Page, name: str, tmp_path: Path, *, full: bool = True) -> None:
    """Keep a picture of a state, where pictures are asked for."""
    if not PICTURES:
        return
    folder = Path(PICTURES)
    folder.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=folder / f"{name}.png", full_page=full)


def drop(page: Page, *files: Path, on: str = ".drop") -> None:
    """Drop files on the page as a person does: a drop event with real files in it."""
    payload = [{"name": x.name, "bytes": base64.b64encode(x.read_bytes()).decode()} for x in files]
    transfer = page.evaluate_handle(
        """files => {
            const transfer = new DataTransfer();
            for (const { name, bytes } of files) {
                transfer.items.add(new File([Uint8Array.from(atob(bytes), (x) => x.charCodeAt(0))], name));
            }
            return transfer;
        }""",
        payload,
    )
    page.dispatch_event(on, "drop", {"dataTransfer": transfer})


def violations(page: Page, *, only: tuple[str, ...] = ()) -> list[str]:
    """Return what axe-core, a general checker of pages, finds wrong with what is shown. `only`: some of its rules."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text("utf-8"))
    options = {"resultTypes": ["violations"]} | ({"runOnly": {"type": "rule", "values": only}} if only else {})
    found = page.evaluate("options => axe.run(document, options).then(x => x.violations)", options)
    return [f"{x['id']}: {x['help']}: {[n['html'][:120] for n in x['nodes']][:3]}" for x in found]


def accessible(page: Page, name: str, tmp_path: Path, *, full: bool = True) -> None:
    """Hold a state of the page against the rules of access, in light and in dark, and keep pictures of both.

    Names, roles and order are the same in both: in dark, only what has to do with colours is looked at again.
    """
    for theme, only in (("light", ()), ("dark", COLOUR_RULES)):
        page.emulate_media(color_scheme=theme)
        found = violations(page, only=only)
        picture(page, f"{name}-{theme}", tmp_path, full=full)
        assert found == [], f"{name}, {theme}: {found}"
    page.emulate_media(color_scheme="light")


def soon(page: Page, there: Callable[[], bool]) -> None:
    """Wait until something is so, and no longer."""
    ends = time.monotonic() + LONG / 1000
    while not there():
        assert time.monotonic() < ends, f"not so in {LONG / 1000:.0f} s"
        page.wait_for_timeout(30)


def lit(page: Page) -> list[int]:
    """Faces or entities that are lit."""
    return sorted(page.evaluate("window.lintsvcLit() ?? []"))


def expect_lit(page: Page, wanted: Iterable[int]) -> None:
    """Wait until these are lit, and no others."""
    meant = sorted(wanted)
    soon(page, lambda: lit(page) == meant)


def wait_for_view(page: Page) -> None:
    """Wait until the part is drawn. Asked again and again: the page's policy forbids the browser's own waiting code."""
    soon(page, lambda: page.evaluate("window.lintsvcLit() !== null"))


def check_id(page: Page) -> str:
    """Return the id of the check that is shown."""
    return page.url.partition("#")[0].rsplit("/", 1)[1]


def check_of(page: Page) -> Any:
    """Return the check that is shown, as the API has it."""
    answer = page.request.get(f"/api/v1/checks/{check_id(page)}")
    assert answer.ok
    return json.loads(answer.body())


def part_of(page: Page) -> Any:
    """Return the entry of the report that is shown."""
    return check_of(page)["report"]["parts"][0]


def shown(page: Page) -> Any:
    """Wait until the check has its verdict, and return its entry of the report."""
    expect(page.locator(".verdict h1.verdict-error, .verdict h1.verdict-warning, .verdict h1.verdict-note, "
                        ".verdict h1.verdict-clean")).to_be_visible()  # fmt: skip
    expect(page.locator(".findings")).to_be_visible()
    return part_of(page)


def checked(page: Page, file: Path, **choices: str) -> Any:
    """Check one file, open its check, and return its entry of the report.

    The file is sent past the page: that it takes one has tests of its own, and the same file is checked once only.
    """
    sent = {"name": file.name, "mimeType": "application/octet-stream", "buffer": file.read_bytes()}
    answer = page.request.post("/api/v1/checks", multipart={**choices, "file": sent})
    assert answer.ok, answer.text()
    # As the browser's own way back does, without loading the page anew.
    page.evaluate(
        "path => { history.pushState(null, '', path); dispatchEvent(new PopStateEvent('popstate')); }",
        f"/checks/{answer.json()['id']}",
    )
    return shown(page)


def opened(page: Page, title: str) -> None:
    """Open a panel by its title."""
    page.locator(".opening summary", has_text=title).click()
