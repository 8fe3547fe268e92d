"""The page: how large it is, how soon it is there, and how soon another choice has its answer.

Run from the checkout, with the page built and Chromium there: python -m bench.page [faces]. Times are wall times on
loopback, the best of a few runs, and say how busy the machine was.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright

from lintsvc.measure.stl_bytes import stl_bytes

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "lintsvc" / "web" / "static"
RUNS = 5
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
]
MOST_BUNDLE = 300_000


def bundle() -> int:
    """Bytes of everything that the page loads, as it is sent."""
    return sum(x.stat().st_size for x in STATIC.glob("*.br")) + (STATIC / "index.html").stat().st_size


def first_view(browser: Browser, address: str) -> float:
    """Seconds from opening the start, with nothing cached, to its first paint with content."""
    times = []
    for _ in range(RUNS):
        context = browser.new_context(base_url=address)
        page = context.new_page()
        page.goto("/")
        expect(page.locator(".drop")).to_be_visible()
        page.wait_for_timeout(300)
        paint = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 1e9"
        times.append(float(page.evaluate(paint)) / 1000)
        context.close()
    return min(times)


def says(page: Page, where: str, words: str) -> None:
    """Wait until the words stand there, looking at every picture: `expect` looks ever more seldom, once a second."""
    looks = "([where, words]) => document.querySelector(where)?.textContent.includes(words)"
    page.wait_for_function(looks, arg=[where, words], timeout=180_000)


def choices(page: Page, part: Path) -> tuple[float, float]:
    """Seconds from the choice of another material to its verdict, the best and the worst over all of them."""
    page.goto("/")
    page.set_input_files("#files", part)
    expect(page.locator("select[name=material]")).to_be_visible(timeout=180_000)
    page.wait_for_timeout(3000)
    names = page.locator("select[name=material] option").evaluate_all("x => x.map(y => y.value).filter(y => y)")
    now = page.locator("select[name=material]").input_value()
    times = []
    for name in [x for x in names if x != now]:
        started = time.perf_counter()
        page.select_option("select[name=material]", name)
        says(page, ".verdict-line", f" {name} ")
        times.append(time.perf_counter() - started)
        page.wait_for_timeout(2000)
    return min(times), max(times)


def unit(page: Page, part: Path) -> tuple[float, float]:
    """Seconds from the choice of another unit to its report, the best and the worst: larger, then as it was."""
    page.goto("/")
    page.set_input_files("#files", part)
    expect(page.locator("select[name=units]")).to_be_visible(timeout=180_000)
    times = []
    for name, words in (("in", "Read in inches"), ("mm", "Read in millimetres"), ("cm", "Read in centimetres")):
        page.wait_for_timeout(3000)
        started = time.perf_counter()
        page.select_option("select[name=units]", name)
        says(page, ".check", words)
        times.append(time.perf_counter() - started)
    return min(times), max(times)


def main(faces: int = 67_000) -> int:
    """Print the figures, by default for a part of some 100 thousand faces; the exit status is 1 for a bundle that is
    too large."""
    sys.path.insert(0, str(ROOT / "tests"))
    from service.running import Running

    from bench.bodies import pockets

    size = bundle()
    print(f"bundle, as sent (brotli)           {size / 1000:6.0f} kB  (aim: {MOST_BUNDLE // 1000})")
    program = next((x for name in BROWSERS if (x := shutil.which(name))), None)
    if program is None:
        print("no Chromium: the rest is not measured")
        return 1
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        vertices, triangles = pockets(faces)
        part = Path(folder) / "part.stl"
        part.write_bytes(stl_bytes(vertices[triangles], "bench, mm"))
        running = Running(Path(folder) / "state", {"LINTSVC_REQUESTS_A_MINUTE": "0"}).start()
        try:
            running.wait_ready()
            address = f"http://{running.host}:{running.port}"
            browser = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
            print(f"start, opened to first content     {first_view(browser, address):6.2f} s   (aim: 1)")
            page = browser.new_page(base_url=address)
            best, worst = choices(page, part)
            print(f"another material, {len(triangles):>7} faces   {best:6.2f} s to {worst:.2f} s   (aim: 1)")
            best, worst = unit(page, part)
            print(f"another unit, {len(triangles):>7} faces       {best:6.2f} s to {worst:.2f} s   (aim: 1)")
            browser.close()
        finally:
            running.stop()
    print(f"load of the machine                {os.getloadavg()[0]:6.1f}  on {os.cpu_count()} cores")
    return int(size > MOST_BUNDLE)


if __name__ == "__main__":
    sys.exit(main(*(int(x) for x in sys.argv[1:])))
