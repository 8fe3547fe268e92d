"""The OpenAPI 3.1 document, from the app's own routes and docstrings."""

from __future__ import annotations

from flask import Flask


def describe(app: Flask) -> None:
    """Serve the document at /api/openapi.json."""
