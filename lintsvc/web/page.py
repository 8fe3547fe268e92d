"""The page: one HTML file and what it loads, built from `page/` into `static/`."""

from __future__ import annotations

from pathlib import Path

from flask import Blueprint, Response, send_from_directory

from lintsvc.web.problems import Problem

STATIC = Path(__file__).with_name("static")

page = Blueprint("page", __name__)


@page.get("/")
@page.get("/checks/<check_id>")
def index(check_id: str = "") -> Response:
    """The page itself; a check's address is read by its script, which asks the API for the check."""
    if not (STATIC / "index.html").is_file():
        raise Problem("not-found", "the page is not built; `make serve` builds it. The API is at /api/v1")
    response = send_from_directory(STATIC, "index.html")
    # Small, and it names the files that belong together: always asked for again.
    response.headers["Cache-Control"] = "no-cache"
    return response


@page.get("/static/<path:name>")
def static_file(name: str) -> Response:
    """What the page loads. Names carry a hash of the content, so they are kept for good."""
    response = send_from_directory(STATIC, name)
    response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return response


@page.get("/favicon.ico")
def icon() -> Response:
    """Browsers ask for it whatever the page says."""
    return Response(status=204)
