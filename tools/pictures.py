"""Take the pictures that the README and the docs show: the page with the demo's parts, in a real browser.

`python tools/pictures.py` starts the service by itself and writes into `docs/pictures/`.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
OUT = ROOT / "docs" / "pictures"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
]


def finding(page: Page, address: str, part: Path, choice: int) -> None:
    """Check a part and open one of its findings."""
    page.goto(address)
    page.set_input_files("#files", part)
    expect(page.locator(".finding-head").first).to_be_visible(timeout=90_000)
    expect(page.locator(".view canvas, .flat-drawing").first).to_be_visible(timeout=30_000)
    page.locator(".finding-head").nth(choice).click()
    page.wait_for_timeout(1500)


def panel(page: Page, title: str, holds: str) -> None:
    """Open a panel and wait for what it holds."""
    page.locator(".opening summary", has_text=title).click()
    expect(page.locator(holds)).to_be_visible(timeout=60_000)


def versions(page: Page, address: str, part: Path) -> None:
    """Check a part and hold it against the newest check of that name."""
    page.goto(address)
    page.set_input_files("#files", part)
    expect(page.locator(".findings")).to_be_visible(timeout=90_000)
    expect(page.locator(".view canvas")).to_be_visible(timeout=30_000)
    panel(page, "Compare with an earlier version", "select[name=old]")
    page.locator("select[name=old]").select_option(index=1)
    expect(page.locator(".versions-sum")).to_be_visible(timeout=60_000)
    page.evaluate("scrollTo(0, 0)")
    page.wait_for_timeout(1500)


def several(page: Page, address: str, parts: list[Path]) -> None:
    """Check several files."""
    page.goto(address)
    page.set_input_files("#files", parts)
    expect(page.locator(".list-page h1")).to_contain_text("must not be sent", timeout=90_000)


def main() -> None:
    """Take all of them."""
    from lintsvc.demo import write_demo

    program = next(found for name in BROWSERS if (found := shutil.which(name)))
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        write_demo(Path(folder) / "gauge")
        service = subprocess.Popen(
            [sys.executable, "-m", "lintsvc.cli", "serve", "--port", "0"],
            env={"PATH": "/usr/bin:/bin", "LINTSVC_STATE": f"{folder}/state", "HOME": folder},
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        try:
            assert service.stdout is not None
            found = re.search(r"http://\S+", service.stdout.readline())
            assert found is not None, "the service did not start"
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
                page = browser.new_page(viewport={"width": 1280, "height": 800})
                gauge = Path(folder) / "gauge"
                finding(page, found[0], gauge / "faulty/housing.stl", 1)
                page.screenshot(path=OUT / "finding.png")
                panel(page, "Compare materials", ".materials")
                page.locator(".opening").first.screenshot(path=OUT / "materials.png")
                finding(page, found[0], gauge / "faulty/bracket.dxf", 1)
                page.evaluate("scrollTo(0, 0)")
                page.screenshot(path=OUT / "flat.png")
                versions(page, found[0], gauge / "good/housing.stl")
                page.screenshot(path=OUT / "versions.png", full_page=True)
                several(page, found[0], [gauge / "faulty" / x for x in ("housing.stl", "lid.stl", "bracket.dxf")])
                page.locator(".list-page").screenshot(path=OUT / "list.png")
                phone = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme="dark")
                finding(phone, found[0], gauge / "faulty/housing.stl", 0)
                phone.screenshot(path=OUT / "phone.png")
                browser.close()
        finally:
            service.terminate()
            service.wait(20)


if __name__ == "__main__":
    main()
