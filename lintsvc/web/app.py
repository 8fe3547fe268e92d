"""The Flask app. Event streams do not pass through here: see `lintsvc.web.asgi`."""

from __future__ import annotations

import time

from flask import Flask, Response, g, request

from lintsvc.settings import MIB
from lintsvc.web import (
    catalogue_api,
    checks_api,
    files_api,
    health,
    known_api,
    orders_api,
    page,
    problems,
    set_aside_api,
    shares_api,
    tus_api,
)
from lintsvc.web.auth import refuse_foreign
from lintsvc.web.incoming import UploadRequest
from lintsvc.web.openapi import describe
from lintsvc.web.rates import refuse_too_often
from lintsvc.web.services import Services

PREFIX = "/api/v1"

#: Nothing from elsewhere, no inline script or style, no frames, no plug-ins. Pictures may be made by the page itself.
CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "worker-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
SECURITY_HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class App(Flask):
    """Flask with uploads that go to disk."""

    request_class = UploadRequest


def create_app(services: Services) -> Flask:
    """Return the app over these services."""
    app = App("lintsvc.web", static_folder=None)
    settings = services.settings
    app.extensions["lintsvc"] = services
    app.config.update(
        MAX_CONTENT_LENGTH=settings.upload_mib * MIB * settings.files_a_check + MIB,
        # Several parts for each file, and the choices.
        MAX_FORM_PARTS=3 * settings.files_a_check + 50,
        MAX_FORM_MEMORY_SIZE=500_000,
    )
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.before_request(_begin)
    app.before_request(refuse_foreign)
    app.before_request(refuse_too_often)
    app.after_request(_end)
    for module in (
        checks_api,
        files_api,
        catalogue_api,
        tus_api,
        shares_api,
        known_api,
        set_aside_api,
        orders_api,
    ):
        app.register_blueprint(module.api, url_prefix=PREFIX)
    app.register_blueprint(health.health)
    app.register_blueprint(page.page)
    problems.handle(app)
    describe(app)
    return app


def _begin() -> None:
    g.started = time.perf_counter()


def _end(response: Response) -> Response:
    for name, value in SECURITY_HEADERS.items():
        response.headers.setdefault(name, value)
    if request.blueprint not in (None, "page"):
        response.headers.setdefault("Cache-Control", "no-store")
    return response
