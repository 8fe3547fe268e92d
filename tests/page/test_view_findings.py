"""Findings in a body's view in a real browser, on real files: what is lit, shown close, chosen and told apart."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page.drawn import CHOSEN, ERROR, NOTE, WARNING, click_at, densest, like, pixels, ready, seen, still, tool
from page.paths import checked, drop, lit, picture, shown
from parts.service_parts import box_stl
from playwright.sync_api import Page, Route, expect

from lintsvc.model.part import Part
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions
from lintsvc.reports.geometry import sent_order

FILES = [
    "demo:faulty/housing.stl",
    "demo:faulty/lid.stl",
    "rules/powder-bed/fixtures/thin_pin",
    "rules/powder-bed/fixtures/narrow_gap",
    "rules/powder-bed/fixtures/deep_hole",
    "rules/powder-bed/fixtures/narrow_escape",
    "rules/soundness/fixtures/open_edge",
    "rules/soundness/fixtures/self_crossing",
]


def file_of(name: str, demo: Path, repository: Path) -> Path:
    if name.startswith("demo:"):
        return demo / name.removeprefix("demo:")
    return min((x for x in (repository / name).iterdir() if x.name.startswith("bad")), key=lambda x: x.name)


def body_of(file: Path) -> tuple[Any, np.ndarray]:
    """The body of a file, and where each of its faces stands among those that a page gets.

    Read anew and put in that order here: nothing of the service's answers is used.
    """
    part = read_part(file, ReadOptions(file.name, "0" * 64, None, None, None))
    assert isinstance(part, Part)
    assert part.body is not None
    place = np.empty(len(part.body.faces), np.int64)
    place[sent_order(part.body)] = np.arange(len(part.body.faces))
    return part.body, place


def lights_its_faces(page: Page, part: Any, file: Path) -> int:
    """Choose every finding: the faces that are drawn in its colour are the report's, told by where they lie."""
    ready(page)
    _, place = body_of(file)
    looked_at = 0
    for finding in part["findings"]:
        faces = (finding["where"] or {}).get("faces") or []
        # To the next one, whether it stands by itself in the list or in a group.
        page.keyboard.press("j")
        assert lit(page) == sorted(place[faces].tolist()), (file.name, finding["rule"])
        looked_at += bool(faces)
    page.keyboard.press("Escape")
    assert lit(page) == []
    return looked_at


def test_every_finding_lights_the_faces_that_the_report_names(
    page: Page, demo: Path, repository: Path, tmp_path: Path
) -> None:
    files = []
    for name in FILES:
        # Fixtures of different rules may have one name.
        found = file_of(name, demo, repository)
        files.append(tmp_path / (name.rpartition("/")[2].partition(".")[0] + found.suffix))
        files[-1].write_bytes(found.read_bytes())
    drop(page, *files)
    page.locator(".order-item").get_by_role("link").first.click()
    for file in files:
        page.locator(".files button", has_text=file.name).click()
        expect(page.locator(".file-name")).to_have_text(file.name)
        assert lights_its_faces(page, shown(page), file) > 0


@pytest.mark.needs_shared
@pytest.mark.parametrize("name", ["stl/MINI-minda-holder.stl", "3mf/cube_gears_prod.3mf", "step/left.step"])
def test_every_finding_of_a_real_file_lights_its_faces(page: Page, shared: Path, name: str) -> None:
    file = shared / "corpus/open" / name
    lights_its_faces(page, checked(page, file), file)


def test_a_chosen_finding_is_seen_with_its_ball_in_a_cut(page: Page, demo: Path, tmp_path: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    assert not like(pixels(page), CHOSEN).any()
    expect(tool(page, "Close up")).to_be_disabled()
    page.locator(".finding-head", has_text="Wall").click()
    seen(page, lambda image: like(image, CHOSEN).sum() > 200)
    expect(page.locator(".view-label-dimension")).to_have_text("0.501 mm")
    picture(page, "body-dimension", tmp_path, full=False)
    # Where nobody wishes for less motion, the view flies there.
    page.emulate_media(reduced_motion="no-preference")
    far = still(page)
    tool(page, "Close up").click()
    expect(tool(page, "Cut open")).to_have_attribute("aria-pressed", "true")
    near = still(page)
    assert like(near, CHOSEN).sum() > like(far, CHOSEN).sum()
    picture(page, "body-close-up", tmp_path, full=False)
    # The unit goes with the page's.
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.locator(".view-label-dimension")).to_have_text("0.02 in")
    page.get_by_role("button", name="mm", exact=True).click()


def test_choosing_a_place_in_the_body_chooses_its_finding(page: Page, demo: Path) -> None:
    checked(page, demo / "faulty" / "housing.stl")
    ready(page)
    # Seen through, whatever a finding lies on shines; any such place that lies among others will do.
    tool(page, "See through").click()
    image = seen(page, lambda image: like(image, WARNING, 40).sum() > 300)
    click_at(page, *densest(like(image, WARNING, 40)))
    expect(page.locator(".finding.open")).to_have_count(1)
    # And one beside the part ends it.
    click_at(page, 4, 4)
    expect(page.locator(".finding.open")).to_have_count(0)


def test_levels_are_told_apart_without_colours(page: Page, tmp_path: Path) -> None:
    """An error, a warning and a note on three sides of a box, seen in grey: the light's pattern, the sign's form.

    Which findings there are is put in the service's mouth; how they are drawn is the page's own.
    """
    file = tmp_path / "box.stl"
    file.write_bytes(box_stl(40, 30, 20))
    levels = ("error", "warning", "note")
    sides = ((2, 20.0), (1, 0.0), (0, 40.0))  # top, front and right: those that are seen at first

    body, place = body_of(file)
    corners = np.asarray(body.vertices)[np.asarray(body.faces)[np.argsort(place)]]

    def findings(route: Route) -> None:
        placed = []
        for level, (axis, at) in zip(levels, sides, strict=True):
            on = np.isclose(corners[:, :, axis], at).all(axis=1)
            point = corners[on].mean(axis=(0, 1)).tolist()
            span = [point, [x + (1.5 if i == axis else 0.0) for i, x in enumerate(point)]] if level == "note" else None
            placed.append(
                {"fingerprint": level, "rule": "none", "level": level, "rank": 1, "point": point, "box": [point, point],
                 "span": span, "lines": [], "faces": [[int(x), 1] for x in np.flatnonzero(on)], "entities": []}
            )  # fmt: skip
        route.fulfill(json={"findings": placed})

    page.route("**/files/0/findings*", findings)
    checked(page, file)
    ready(page)
    tool(page, "See through").click()  # their full colours
    image = seen(page, lambda image: all(like(image, x, 90).sum() > 2000 for x in (ERROR, WARNING, NOTE)))
    grey = image @ np.array([0.2126, 0.7152, 0.0722])
    inked = {}
    for level, colour in zip(levels, (ERROR, WARNING, NOTE), strict=True):
        x, y = densest(like(image, colour, 90), 41)
        patch = grey[int(y) - 20 : int(y) + 21, int(x) - 20 : int(x) + 21]
        inked[level] = float((np.abs(patch - np.median(patch)) > 30).mean())
    assert inked["error"] < 0.02
    assert 0.05 < inked["note"] < 0.22
    assert 0.22 < inked["warning"] < 0.4
    forms = page.locator(".view-label-mark").evaluate_all(
        "all => all.map(x => x.querySelector('.mark').firstChild.outerHTML)"
    )
    assert len(set(forms)) == 3
    expect(page.locator(".view-label-note")).to_have_text("1.5 mm")
    picture(page, "body-levels", tmp_path, full=False)
    # Looked at from behind, none of them is in front.
    expect(page.locator(".view-label-mark.behind")).to_have_count(0)
    page.get_by_label("Look from").select_option("bottom")
    expect(page.locator(".view-label-error.behind")).to_have_count(1)
