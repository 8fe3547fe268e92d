"""What a person measures in a body's view in a real browser, against the shapes' own numbers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from page.drawn import click_at, like, ready, still, tool
from page.paths import check_id, checked, picture
from parts.service_parts import box_stl
from playwright.sync_api import Page, expect

from lintsvc.reports.geometry import decode_body


def rectangle(image: np.ndarray) -> tuple[int, int, int, int]:
    """Left, right, top, bottom of a part that fills a rectangle: rows and columns mostly of its commonest colour."""
    ground = image[20, 20]
    shades, counts = np.unique(image[4:-4, 4:-4].reshape(-1, 3), axis=0, return_counts=True)
    counts[np.abs(shades - ground).sum(axis=1) < 60] = 0
    filled = like(image, tuple(shades[counts.argmax()].tolist()), 6)
    ys, xs = (np.flatnonzero(filled.sum(axis=k) > 0.5 * filled.sum(axis=k).max()) for k in (1, 0))
    return int(xs.min()), int(xs.max()), int(ys.min()), int(ys.max())


def test_a_box_is_measured_from_corner_to_corner_and_across_its_edges(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    checked(page, file)
    ready(page)
    page.get_by_label("Look from").select_option("front")
    tool(page, "Measure").click()
    # From the front the box is a rectangle of 40 by 20 mm.
    left, right, top, bottom = rectangle(still(page))
    left, right, top, bottom = left + 3, right - 3, top + 3, bottom - 3
    words = page.locator(".view-measured")
    click_at(page, left, top)
    expect(words).to_contain_text("Corner at 0 mm, 0 mm, 20 mm")
    click_at(page, right, bottom)
    expect(words).to_contain_text("Distance: 44.72 mm")
    expect(words).to_contain_text("x 40 mm, y 0 mm, z 20 mm")
    expect(page.locator(".view-label-measured")).to_have_text("44.72 mm")
    picture(page, "body-measured", tmp_path, full=False)
    page.get_by_role("button", name="in", exact=True).click()
    expect(words).to_contain_text("Distance: 1.761 in")
    page.get_by_role("button", name="mm", exact=True).click()
    # Escape clears; then two edges, by their middles.
    page.keyboard.press("Escape")
    expect(words).not_to_contain_text("Distance")
    click_at(page, (left + right) / 2, top)
    expect(words).to_contain_text("Edge: 40 mm long")
    click_at(page, (left + right) / 2, bottom)
    expect(words).to_contain_text("Distance: 20 mm")


def test_holes_of_a_body_are_measured_by_their_axes(page: Page, demo: Path) -> None:
    """The housing's four screw holes: the distance of two is what their axes in the lists have."""
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    lists = json.loads(page.request.get(f"/api/v1/checks/{check_id(page)}/files/0/lists").body())
    holes = [x for x in lists["holes"] if abs(x["diameter_mm"] - 3.2) < 0.1]
    assert len(holes) == 4
    page.get_by_label("Look from").select_option("top")
    expect(page.locator(".feature").first).to_be_visible()
    tool(page, "Measure").click()
    # Where they are seen from above follows from the rectangle that the part fills.
    left, right, _, bottom = rectangle(still(page))
    part = check_box(page)
    scale = (right - left) / (part[1][0] - part[0][0])
    near = sorted(holes, key=lambda x: (x["ends"][0][1], x["ends"][0][0]))[:2]
    for hole in near:
        x, y, _ = hole["ends"][0]
        # On its rim.
        x += hole["diameter_mm"] / 2
        click_at(page, left + (x - part[0][0]) * scale, bottom - (y - part[0][1]) * scale)
    words = page.locator(".view-measured")
    expect(words).to_contain_text("Hole: ⌀ 3.2 mm")
    apart = float(np.hypot(*np.subtract(near[0]["ends"][0], near[1]["ends"][0])[:2]))
    expect(words).to_contain_text(f"Centre to centre: {apart:.2f}".rstrip("0").rstrip("."))


def check_box(page: Page) -> Any:
    """The part's box as the page gets it."""
    answer = page.request.get(
        f"/api/v1/checks/{check_id(page)}/files/0/geometry", headers={"Accept-Encoding": "identity"}
    )
    _, vertices, _ = decode_body(answer.body())
    return vertices.min(axis=0).tolist(), vertices.max(axis=0).tolist()
