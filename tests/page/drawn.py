"""What a view draws, told from its picture, and what of it is clicked."""

from __future__ import annotations

import io
import time
from collections.abc import Callable

import numpy as np
from page.paths import LONG, wait_for_view
from PIL import Image
from playwright.sync_api import Locator, Page, expect

#: Colours of style.css in the light theme: the chosen finding, an error, a warning, what is lit from a list.
ERROR = (0xB3, 0x20, 0x2C)
CHOSEN, WARNING, ACCENT = (0xD6, 0x00, 0x7A), (0xA8, 0x5B, 0x00), (0x0B, 0x5F, 0x6E)
NOTE = (0x24, 0x63, 0xA6)


def ready(page: Page) -> None:
    """Wait until the body is drawn and can be picked from."""
    wait_for_view(page)
    expect(page.locator(".view-body[data-ready]")).to_be_attached()


def pixels(page: Page) -> np.ndarray:
    """What the view shows, (height, width, 3); a pixel of it is a pixel of the page."""
    return np.asarray(Image.open(io.BytesIO(page.locator(".view-place").screenshot())).convert("RGB")).astype(int)


def like(image: np.ndarray, colour: tuple[int, int, int], within: int = 60) -> np.ndarray:
    """Where the picture has this colour, however shaded."""
    found: np.ndarray = np.abs(image - colour).sum(axis=2) < within
    return found


def seen(page: Page, test: Callable[[np.ndarray], bool]) -> np.ndarray:
    """Wait until the picture is as wanted, and return it."""
    ends = time.monotonic() + LONG / 1000
    while not test(image := pixels(page)):
        assert time.monotonic() < ends, "the view does not come to show it"
        page.wait_for_timeout(30)
    return image


def still(page: Page) -> np.ndarray:
    """Wait until the picture does not change any more, and return it."""
    before: list[np.ndarray] = [pixels(page)]

    def same(image: np.ndarray) -> bool:
        before.append(image)
        return bool(image.shape == before[-2].shape and (image == before[-2]).all())

    return seen(page, same)


def click_at(page: Page, x: float, y: float) -> None:
    """Click at a place of the view, in its own pixels."""
    page.locator(".view-place").scroll_into_view_if_needed()
    box = page.locator(".view-place").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + float(x), box["y"] + float(y))


def densest(there: np.ndarray, side: int = 17) -> tuple[float, float]:
    """Right and down to where most of a square has something: lights have stripes, and a lone pixel may be a rim."""
    around = np.lib.stride_tricks.sliding_window_view(there, (side, side)).sum((2, 3))
    y, x = np.unravel_index(around.argmax(), around.shape)
    return float(x + side // 2), float(y + side // 2)


def tool(page: Page, name: str) -> Locator:
    return page.locator(".view-tools").get_by_role("button", name=name, exact=True)


def boxes_of(page: Page, selector: str) -> list[tuple[float, float, float, float]]:
    """Left, top, right, bottom of what is seen of these."""
    script = """all => all.filter(x => getComputedStyle(x).visibility !== "hidden").map(x => {
        const r = x.getBoundingClientRect();
        return [r.left, r.top, r.right, r.bottom];
    })"""
    return [tuple(x) for x in page.locator(selector).evaluate_all(script)]
