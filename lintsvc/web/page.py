"""The page: one HTML file and what it loads, built from `page/` into `static/`."""

from __future__ import annotations

import mimetypes
from pathlib import Path

from flask import Blueprint, Response, request, send_from_directory

from lintsvc.web.problems import Problem

STATIC = Path(__file__).with_name("static")
#: Encodings that the build has packed each file in, the smallest first, and the ending of each.
PACKED = {"br": ".br", "gzip": ".gz"}

page = Blueprint("page", __name__)


@page.get("/")
@page.get("/checks/<check_id>")
@page.get("/orders")
@page.get("/orders/<order_id>")
def index(check_id: str = "", order_id: str = "") -> Response:
    """The page itself; the address of a check or an order is read by its script, which asks the API for it."""
    if not (STATIC / "index.html").is_file():
        raise Problem("not-found", "the page is not built; `make serve` builds it. The API is at /api/v1")
    response = send_from_directory(STATIC, "index.html")
    # Small, and it names the files that belong together: always asked for again.
    response.headers["Cache-Control"] = "no-cache"
    return response


@page.get("/static/<path:name>")
def static_file(name: str) -> Response:
    """What the page loads. Names carry a hash of the content, so they are kept for good."""
    taken = [x for x in PACKED if request.accept_encodings[x] > 0 and (STATIC / (name + PACKED[x])).is_file()]
    packed = taken[0] if taken else ""
    response = send_from_directory(STATIC, name + PACKED.get(packed, ""))
    if packed:
        response.headers["Content-Encoding"] = packed
        response.mimetype = mimetypes.guess_type(name)[0] or "application/octet-stream"
    response.headers["Vary"] = "Accept-Encoding"
    response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return response


@page.get("/favicon.ico")
def icon() -> Response:
    """Browsers ask for it whatever the page says."""
    return Response(status=204)
