"""The view: how small geometry is as it is sent, and a part of a million faces from its check to the view.

Run from the checkout, with the page built and Chromium there: python -m bench.view [faces]. Chromium draws without a
graphics card here: what is measured of drawing is this machine's processor, in wall time. Prints

- geometry as it is sent against a binary STL, on the parts of the open corpus where it is beside the checkout;
- the longest time that the page's own thread was held while the start opened: mostly the browser itself, which waits
  for what it draws with;
- for the large part: from the end of its check until it is drawn, until it can be picked from, and the longest time
  that the page's own thread was held since it was dropped; the same while it is turned, a finding is chosen, and it is
  cut open;
- while it is opened again, the most processor time of the page's thread in one go, which does not depend on what else
  the machine does.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import brotli

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from page.conftest import ARGUMENTS, BROWSERS
from playwright.sync_api import Browser, Page, sync_playwright

from bench.bodies import pockets, write
from bench.service import service
from lintsvc.model.part import Unreadable
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions
from lintsvc.reports.geometry import encode_body, sent_order

CORPUS = Path(__file__).resolve().parent.parent.parent / "shared/corpus/open/stl"
#: Binary STL: a header, and so many bytes a face.
HEADER, A_FACE = 84, 50
LONG_TASKS = """
window.held = [];
new PerformanceObserver((list) => { for (const x of list.getEntries()) window.held.push(x.duration); })
    .observe({ entryTypes: ["longtask"] });
"""
#: Every picture of the view clears it once.
COUNT_PICTURES = """
window.pictures = 0;
const clear = WebGL2RenderingContext.prototype.clear;
WebGL2RenderingContext.prototype.clear = function (...all) { window.pictures++; return clear.apply(this, all); };
0
"""
TURNS = 60


def geometry_ratio() -> None:
    """Geometry sent against a binary STL of as many faces."""
    sent = raw = 0
    files = sorted(x for x in CORPUS.iterdir() if x.suffix.lower() == ".stl") if CORPUS.is_dir() else []
    for file in files:
        try:
            part = read_part(file, ReadOptions(file.name, "0" * 64, None, None, None))
        except Unreadable:
            continue
        if part.body is None or len(part.body.faces) < 1000:
            continue
        size = len(brotli.compress(encode_body(part.body, sent_order(part.body)), quality=4))
        stl = HEADER + A_FACE * len(part.body.faces)
        print(f"  {file.name:40} {len(part.body.faces):8} faces {100 * size / stl:5.1f} %")
        sent, raw = sent + size, raw + stl
    if raw:
        print(f"geometry of real parts: {100 * sent / raw:.1f} % of their binary STL, of 10")


def large_part(page: Page, file: Path) -> None:
    """A part of so many faces from its drop to the view."""
    page.wait_for_timeout(2000)
    held = page.evaluate("window.held.splice(0)")
    print(f"the start: longest hold of the page's thread {max(held, default=0):.0f} ms")
    page.set_input_files("#files", file)
    page.wait_for_url("**/checks/*")
    page.locator(".findings").wait_for(timeout=600_000)
    ended = time.perf_counter()
    page.locator(".view-body canvas").wait_for(timeout=120_000)
    drawn = time.perf_counter() - ended
    page.locator(".view-body[data-ready]").wait_for(timeout=120_000)
    ready = time.perf_counter() - ended
    page.wait_for_timeout(2000)
    held = page.evaluate("window.held.splice(0)")
    print(f"{file.stat().st_size / 1e6:.0f} MB of STL: drawn {drawn:.2f} s after its check ends, of 3")
    print(f"to be picked from: {ready:.2f} s after")
    print(f"longest hold of the page's thread: {max(held, default=0):.0f} ms, of 100; holds over 50 ms: {len(held)}")
    for what, act in (("turned", turn), ("a finding chosen", choose), ("cut open", cut)):
        act(page)
        page.wait_for_timeout(2000)
        held = page.evaluate("window.held.splice(0)")
        print(f"{what}: longest hold {max(held, default=0):.0f} ms, of 100")


def longest_task(chromium: Browser, page: Page) -> float:
    """Open the part again; return the most processor time in one task of the page's thread, in ms."""
    address = page.url
    page.goto("about:blank")
    chromium.start_tracing(page=page, categories=["toplevel"])
    page.goto(address)
    page.locator(".view-body[data-ready]").wait_for(timeout=120_000)
    page.wait_for_timeout(2000)
    events = json.loads(chromium.stop_tracing())["traceEvents"]
    named = [x for x in events if x["name"] == "thread_name" and x["args"]["name"] == "CrRendererMain"]
    threads = {(x["pid"], x["tid"]) for x in named}
    spent = [x["tdur"] for x in events if (x["pid"], x["tid"]) in threads and "tdur" in x]
    return max(spent, default=0) / 1000


def turn(page: Page) -> None:
    """Turn the part by dragging; print how many pictures come in the time that it takes."""
    box = page.locator(".view-place").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.evaluate(COUNT_PICTURES)
    page.mouse.move(x, y)
    page.mouse.down()
    started = time.perf_counter()
    for step in range(TURNS):
        page.mouse.move(x + 3 * step, y + step)
        page.evaluate("new Promise(requestAnimationFrame)")
    seconds = time.perf_counter() - started
    page.mouse.up()
    print(f"turning: {page.evaluate('window.pictures') / seconds:.0f} pictures a second")


def choose(page: Page) -> None:
    """Choose the first finding, which flies there."""
    page.keyboard.press("j")


def cut(page: Page) -> None:
    """Cut the part open."""
    page.locator(".view-pad").press("x")


def main(faces: int) -> None:
    """Run all."""
    geometry_ratio()
    program = next(found for name in BROWSERS if (found := shutil.which(name)))
    with tempfile.TemporaryDirectory() as folder, service(Path(folder)) as running, sync_playwright() as playwright:
        part = Path(folder) / "pockets.stl"
        write(part, *pockets(faces))
        chromium = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
        page = chromium.new_page(base_url=f"http://{running.host}:{running.port}")
        page.add_init_script(LONG_TASKS)
        page.goto("/")
        large_part(page, part)
        print(f"opened again: most processor time in one go {longest_task(chromium, page):.0f} ms")
        chromium.close()
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
