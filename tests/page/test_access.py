"""No violation of the accessibility rules that axe-core knows, in each main state of the page."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect


@pytest.fixture(scope="session")
def axe(repository: Path) -> str:
    """axe-core, a general checker of pages, from the page's own development packages."""
    return (repository / "lintsvc/web/page/node_modules/axe-core/axe.min.js").read_text("utf-8")


def violations(page: Page, axe: str) -> list[str]:
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']}).then(x => x.violations)")
    return [f"{x['id']}: {x['help']}: {[n['html'][:120] for n in x['nodes']][:3]}" for x in found]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_start_has_no_violation(page: Page, axe: str, theme: str) -> None:
    page.emulate_media(color_scheme=theme)
    expect(page.locator(".before")).not_to_be_empty()
    assert violations(page, axe) == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", ["housing.stl", "bracket.dxf"])
def test_a_report_has_no_violation(page: Page, demo: Path, axe: str, theme: str, name: str) -> None:
    page.emulate_media(color_scheme=theme)
    page.set_input_files("#files", demo / "faulty" / name)
    expect(page.locator(".finding-head").first).to_be_visible(timeout=60_000)
    expect(page.locator(".view canvas, .flat-drawing").first).to_be_visible(timeout=30_000)
    assert violations(page, axe) == []
    page.locator(".finding-head").first.click()
    expect(page.locator(".finding.open")).to_have_count(1)
    assert violations(page, axe) == []


def test_a_file_that_cannot_be_used_has_no_violation(page: Page, axe: str, tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"no part at all")
    page.set_input_files("#files", broken)
    expect(page.locator(".verdict .why")).to_be_visible(timeout=60_000)
    assert violations(page, axe) == []
