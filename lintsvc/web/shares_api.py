"""Share links to one check: make, list, revoke."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, Response, request

from lintsvc.store import shares
from lintsvc.store.shares import Share
from lintsvc.web.auth import SHARE_FIELD, visible_check
from lintsvc.web.checks_api import json_answer
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

api = Blueprint("shares", __name__)

LONGEST_DAYS = 3650


def _described(share: Share) -> dict[str, Any]:
    return {
        "id": share.id,
        "created": datetime.fromtimestamp(share.created, UTC).isoformat(),
        "expires": None if share.expires is None else datetime.fromtimestamp(share.expires, UTC).isoformat(),
    }


@api.post("/checks/<check_id>/shares")
def make(check_id: str) -> Response:
    """Make a link that lets whoever has it look at this check. `days`: until when it holds."""
    check = visible_check(check_id, "check")
    text = request.form.get("days", "")
    if text and not (text.isascii() and text.isdigit() and 1 <= int(text[:6]) <= LONGEST_DAYS):
        raise Problem("bad-request", f"days is a whole number from 1 to {LONGEST_DAYS}")
    share, secret = shares.make_share(services().db, check.id, float(text) if text else None)
    # The secret stands behind the #: browsers send that to nobody, so it is in no log.
    link = f"{request.script_root}/#check={check.id}&{SHARE_FIELD}={secret}"
    return json_answer({**_described(share), "secret": secret, "link": link}, 201)


@api.get("/checks/<check_id>/shares")
def listed(check_id: str) -> Response:
    """The links to this check, without their secrets."""
    check = visible_check(check_id, "check")
    return json_answer({"shares": [_described(x) for x in shares.list_shares(services().db, check.id)]})


@api.delete("/checks/<check_id>/shares/<share_id>")
def revoke(check_id: str, share_id: str) -> Response:
    """Revoke a link."""
    check = visible_check(check_id, "check")
    if not shares.revoke_share(services().db, check.id, share_id[:64]):
        raise Problem("not-found", "there is no such link to this check")
    return Response(status=204)
