"""Setting a finding aside with a reason, and taking that back."""

from __future__ import annotations

from flask import Blueprint, Response, g, request

from lintsvc.store import checks, set_asides, tokens
from lintsvc.store.assemble import NotStored, assemble_report
from lintsvc.store.checks import Check, FileOf
from lintsvc.web.auth import visible_check
from lintsvc.web.checks_api import json_answer
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

api = Blueprint("set_asides", __name__)

LONGEST_REASON = 500
_PLACE = "/checks/<check_id>/files/<int(max=9999):number>/set-aside/<fingerprint>"


@api.put(_PLACE)
def keep(check_id: str, number: int, fingerprint: str) -> Response:
    """Set a finding aside with a `reason`. It holds for these bytes, in every check of them."""
    check, file = _file(check_id, number)
    reason = " ".join(request.form.get("reason", "").split())
    if not reason or len(reason) > LONGEST_REASON or not reason.isprintable():
        raise Problem("bad-request", f"a reason is plain text of 1 to {LONGEST_REASON} signs")
    here = services()
    try:
        findings = assemble_report(here.db, here.blobs, [file])["parts"][0]["findings"]
    except NotStored:
        raise Problem("not-found", "this check was deleted a moment ago") from None
    rule = next((x["rule"] for x in findings if x["fingerprint"] == fingerprint), None)
    if rule is None:
        raise Problem("not-found", "this file has no finding with this fingerprint")
    set_asides.set_aside(
        here.db,
        check.owner,
        sha256=file.sha256,
        fingerprint=fingerprint,
        rule=rule,
        reason=reason,
        author=next((x.name for x in tokens.list_tokens(here.db) if x.id == g.asker.id), ""),
    )
    kept = set_asides.of_files(here.db, check.owner, [file])
    return json_answer({"set_aside": next(x.shown() for x in kept if x.fingerprint == fingerprint)})


@api.delete(_PLACE)
def take_back(check_id: str, number: int, fingerprint: str) -> Response:
    """Let a finding count again."""
    check, file = _file(check_id, number)
    if not set_asides.take_back(services().db, check.owner, file.sha256, fingerprint[:64]):
        raise Problem("not-found", "this finding is not set aside")
    return Response(status=204)


def _file(check_id: str, number: int) -> tuple[Check, FileOf]:
    check = visible_check(check_id, "check")
    if check.state not in (checks.DONE, checks.FAILED):
        raise Problem("not-ready", f"this check is {check.state}", state=check.state)
    if number >= len(check.files):
        raise Problem("not-found", f"there is no file {number} in this check; they are numbered from 0")
    return check, check.files[number]
