"""The page of a service that needs tokens: it asks, keeps the token for the tab, and sends it with all it does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from page.conftest import address_of
from page.paths import accessible
from playwright.sync_api import Browser, Page, expect
from service.running import Running

from lintsvc.store.database import Database
from lintsvc.store.tokens import make_token, revoke_token


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Running, Database]]:
    """A service that answers nobody without a token, and its records."""
    running = Running(
        tmp_path_factory.mktemp("guarded") / "state", {"LINTSVC_TOKENS": "required", "LINTSVC_REQUESTS_A_MINUTE": "0"}
    )
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    db.migrate()
    make_token(db, "first", frozenset({"admin"}), None)
    running.start()
    running.wait_ready()
    yield running, db
    assert running.stop() == 0, running.words()
    db.dispose()


@pytest.fixture
def asked(browser: Browser, guarded: tuple[Running, Database]) -> Iterator[Page]:
    """A page that nobody has given a token yet."""
    context = browser.new_context(base_url=address_of(guarded[0]))
    page = context.new_page()
    page.goto("/")
    yield page
    context.close()


def give(page: Page, secret: str) -> None:
    page.get_by_label("Token", exact=True).fill(secret)
    page.get_by_role("button", name="Use it").click()


def test_page_asks_for_a_token_and_then_does_everything_with_it(
    asked: Page, guarded: tuple[Running, Database], demo: Path, tmp_path: Path
) -> None:
    token, secret = make_token(guarded[1], "page", frozenset({"check"}), 1)
    expect(asked.get_by_role("dialog")).to_contain_text("lintsvc token make")
    accessible(asked, "token-asked", tmp_path)
    give(asked, "lint_wrong")
    expect(asked.get_by_role("dialog")).to_contain_text("not known")
    give(asked, secret)
    expect(asked.get_by_role("dialog")).to_have_count(0)
    asked.locator("input[type=file]").first.set_input_files(demo / "faulty" / "housing.stl")
    # The end of the check, the geometry and the download each need it; none of them can be given a header by a link.
    expect(asked.locator(".verdict h1")).to_contain_text("warning")
    expect(asked.locator(".view-body canvas")).to_be_visible()
    link = asked.locator("a[download][href*='report.json']")
    link.evaluate("link => { for (let x = link; x; x = x.parentElement) if (x.tagName === 'DETAILS') x.open = true; }")
    with asked.expect_download() as saved:
        link.click()
    saved.value.save_as(tmp_path / "report.json")
    assert '"parts"' in (tmp_path / "report.json").read_text()
    assert secret not in asked.url
    asked.reload()
    expect(asked.locator(".verdict h1")).to_contain_text("warning")
    assert revoke_token(guarded[1], token.id)
    asked.reload()
    expect(asked.get_by_role("dialog")).to_contain_text("revoked")


def test_token_is_not_kept_beyond_its_tab(asked: Page, guarded: tuple[Running, Database]) -> None:
    _, secret = make_token(guarded[1], "tab", frozenset({"check"}), 1)
    give(asked, secret)
    expect(asked.get_by_role("dialog")).to_have_count(0)
    assert asked.evaluate("JSON.stringify(localStorage) + document.cookie").count(secret) == 0
    other = asked.context.new_page()
    other.goto("/")
    expect(other.get_by_role("dialog")).to_be_visible()


def test_whoever_has_a_share_link_is_asked_for_no_token_until_it_is_revoked(
    asked: Page, guarded: tuple[Running, Database], demo: Path
) -> None:
    running, db = guarded
    _, secret = make_token(db, "owner", frozenset({"check"}), 1)
    owner = Running(running.state, running.environment, process=running.process, port=running.port, token=secret)
    check = owner.check("gasket.dxf", (demo / "faulty" / "gasket.dxf").read_bytes())
    made = owner.request("POST", f"/api/v1/checks/{check['id']}/shares").json
    asked.goto(made["link"])
    asked.reload()
    expect(asked.locator(".finding-head").first).to_be_visible()
    expect(asked.get_by_role("dialog")).to_have_count(0)
    assert owner.request("DELETE", f"/api/v1/checks/{check['id']}/shares/{made['id']}").status == 204
    asked.reload()
    expect(asked.locator("main")).to_contain_text("token")
    expect(asked.locator(".finding-head")).to_have_count(0)
