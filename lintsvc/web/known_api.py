"""Which files the service has already, so that a client uploads only the others."""

from __future__ import annotations

import re

from flask import Blueprint, Response, request

from lintsvc.store.checks import owned_files
from lintsvc.web.auth import asker
from lintsvc.web.checks_api import json_answer
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

api = Blueprint("known", __name__)

MOST = 5_000
_SHA256 = re.compile(r"^[0-9a-f]{64}$")


@api.post("/files/known")
def files() -> Response:
    """Which of these files, by hash, came with the asker's earlier checks: `file_sha256` checks them again."""
    who = asker("check")
    asked = request.form.getlist("sha256")
    if len(asked) > MOST:
        raise Problem("bad-request", f"at most {MOST} hashes are looked up at once")
    if wrong := next((x for x in asked if not _SHA256.match(x)), None):
        raise Problem("bad-request", f"{wrong[:80]!r} is no SHA-256; write 64 digits of 0 to 9 and a to f")
    return json_answer({"known": sorted(owned_files(services().db, who.owner, asked))})
