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
                finding(page, found[0], Path(folder) / "gauge/faulty/housing.stl", 1)
                page.screenshot(path=OUT / "finding.png")
                finding(page, found[0], Path(folder) / "gauge/faulty/bracket.dxf", 0)
                page.screenshot(path=OUT / "flat.png")
                phone = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme="dark")
                finding(phone, found[0], Path(folder) / "gauge/faulty/housing.stl", 0)
                phone.screenshot(path=OUT / "phone.png")
                browser.close()
        finally:
            service.terminate()
            service.wait(20)


if __name__ == "__main__":
    main()
