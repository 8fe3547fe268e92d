"""Checks: send, look, list, cancel and delete."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, Response, request, url_for

from lintsvc.model.choices_words import (
    CHANGES,
    CHOICE_NAMES,
    BadChoice,
    choices_from_dict,
    choices_from_words,
    choices_to_dict,
    choices_to_words,
)
from lintsvc.settings import MIB
from lintsvc.store import checks, keeping, set_asides
from lintsvc.store.accept import KeyUsedOtherwise, NewCheck, QuotaUsedUp, create_check
from lintsvc.store.assemble import NotStored, assemble_report, counted
from lintsvc.store.checks import Check, FileOf
from lintsvc.store.logs import request_id
from lintsvc.store.sweeping import delete_and_purge
from lintsvc.web.auth import asker, visible_check
from lintsvc.web.changes import read_changes
from lintsvc.web.incoming import IncomingFile, refuse_without_room, shown_name
from lintsvc.web.problems import Problem
from lintsvc.web.services import Services, services

api = Blueprint("checks", __name__)

_SHA256 = re.compile(r"^[0-9a-f]{64}$")
_KEY = re.compile(r"^[\x21-\x7e]{1,255}$")
#: Tells the layer outside to wait for something before it answers; never sent on.
WAIT_HEADER = "Lintsvc-Wait"
LONGEST_LIST = 100


@api.post("/checks")
def send() -> Response:
    """Take files and choices, and queue a check of them."""
    who = asker("check")
    here = services()
    refuse_too_large(here)
    words = {name: request.form[name] for name in CHOICE_NAMES if name in request.form}
    choices = _choices(words)
    key = request.headers.get("Idempotency-Key", "")
    if key and not _KEY.match(key):
        raise Problem("bad-request", "an Idempotency-Key is 1 to 255 visible ASCII signs")
    sources = keeping.Sources(here.blobs)
    files = take_files(here, who.owner, sources)
    version = here.packs_version()
    said = choices_to_dict(choices)
    if changes := read_changes(request.form.get(CHANGES, ""), here.catalogue()):
        said[CHANGES] = changes
    files = [
        FileOf(n, x.name, x.sha256, x.bytes, checks.result_key(x.sha256, said, version) if version else "")
        for n, x in enumerate(files)
    ]
    new = NewCheck(
        owner=who.id,
        choices=said,
        files=files,
        request=request_id.get(),
        idempotency_key=key,
        idempotency_request=_fingerprint(said, files),
    )
    try:
        check, fresh = create_check(here.db, new, here.quota, sources.assure)
    except QuotaUsedUp as error:
        raise Problem("quota", str(error), headers={"Retry-After": "60"}) from None
    except FileNotFoundError as error:
        raise _not_kept(str(error)) from None
    except KeyUsedOtherwise:
        raise Problem("key-used", "this Idempotency-Key came with other files or choices before") from None
    if fresh and not check.ended:
        here.caller.check(check.id, check.request)
    response = _answer(here, check, 202)
    response.headers["Location"] = url_for("checks.show", check_id=check.id)
    response.headers[WAIT_HEADER] = f"check {check.id}"
    return response


def refuse_too_large(here: Services) -> None:
    """Refuse an upload that is over the limits, or that the disk has no room for. Raises Problem."""
    settings = here.settings
    length = request.content_length
    most = settings.upload_mib * MIB * settings.files_a_check
    if length is not None and length > most:
        raise Problem("too-large", f"one upload may have at most {most // MIB} MiB")
    refuse_without_room(settings.incoming, length or 0)


def _choices(words: dict[str, str]) -> Any:
    unknown = sorted(set(request.form) - set(CHOICE_NAMES) - {"file_sha256", "file_name", "upload", CHANGES})
    if unknown:
        raise Problem(
            "bad-choice", f"there is no choice {unknown[0]!r}; there are {', '.join(CHOICE_NAMES)}", choice=unknown[0]
        )
    try:
        choices = choices_from_words(words)
        if choices.material is not None:
            from lintsvc.handbook.materials import material

            material(choices.material)
        if choices.gauge is not None:
            from lintsvc.handbook.gauges import with_gauge

            choices = with_gauge(choices)
    except BadChoice as error:
        raise Problem("bad-choice", str(error), choice=error.name) from None
    except ValueError as error:
        raise Problem("bad-choice", str(error), choice="material") from None
    return choices


def _not_kept(sha256: str) -> Problem:
    return Problem("not-found", f"there is no file with the hash {sha256[:80]!r}; send the file itself")


def take_files(here: Services, owner: str | None, sources: keeping.Sources) -> list[FileOf]:
    """Store the sent files, find the named ones."""
    from lintsvc.web.tus_api import finished_upload

    sent = request.files.getlist("file")
    others = sorted(set(request.files) - {"file"})
    if others:
        raise Problem("bad-request", f"files are sent in the field 'file', not {others[0]!r}")
    again, names = request.form.getlist("file_sha256"), request.form.getlist("file_name")
    uploads = request.form.getlist("upload")
    count = len(sent) + len(again) + len(uploads)
    if count == 0:
        raise Problem("no-file", "send at least one file, in the field 'file'")
    if count > here.settings.files_a_check:
        raise Problem("too-many-files", f"one check takes at most {here.settings.files_a_check} files")
    files: list[FileOf] = []
    for upload in sent:
        stream: Any = upload.stream
        assert isinstance(stream, IncomingFile)  # UploadRequest makes all streams
        stream.finish()
        sources.add(stream.sha256, stream.path)
        files.append(FileOf(0, shown_name(upload.filename or ""), stream.sha256, stream.size))
    for number, sha256 in enumerate(again):
        known = checks.owns_file(here.db, owner, sha256) if _SHA256.match(sha256) else None
        if known is None:
            raise _not_kept(sha256)
        name = shown_name(names[number]) if number < len(names) else known.name
        files.append(FileOf(0, name, sha256, known.bytes))
    files += [finished_upload(here, owner, x) for x in uploads]
    return files


def _fingerprint(choices: dict[str, Any], files: list[FileOf]) -> str:
    said = json.dumps([choices, [(x.name, x.sha256) for x in files]], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


@api.get("/checks/<check_id>")
def show(check_id: str) -> Response:
    """State, progress, and the report once it is done."""
    check = visible_check(check_id)
    response = _answer(services(), check, 200)
    if not check.ended and _prefers_wait():
        response.headers[WAIT_HEADER] = f"check {check.id}"
    return response


def _prefers_wait() -> bool:
    return any(x.strip().lower().startswith("wait=") for x in request.headers.get("Prefer", "").split(","))


def _answer(here: Services, check: Check, status: int) -> Response:
    body = described(check)
    if check.state in (checks.DONE, checks.FAILED):
        try:
            body["report"] = assemble_report(here.db, here.blobs, check.files, check.owner)
        except NotStored:
            raise Problem("not-found", "this check was deleted a moment ago") from None
    return json_answer(body, status)


def json_answer(body: Any, status: int = 200) -> Response:
    """Return JSON with an ETag; "not modified" where the client has it already."""
    response = Response(json.dumps(body, allow_nan=False), status, mimetype="application/json")
    response.headers["Cache-Control"] = "private, no-cache"
    if status == 200:
        response.add_etag()
        response.make_conditional(request)
    return response


def described(check: Check) -> dict[str, Any]:
    """Return a check without its report."""
    return {
        "id": check.id,
        "state": check.state,
        "step": check.step or None,
        "percent": check.percent,
        "created": time_text(check.created),
        "finished": None if check.finished is None else time_text(check.finished),
        "files": [{"number": x.number, "name": x.name, "sha256": x.sha256, "bytes": x.bytes} for x in check.files],
        "choices": choices_to_words(choices_from_dict(check.choices)),
        "summary": check.summary,
        "problem": check.why or None,
        "report": None,
        "links": {
            "self": url_for("checks.show", check_id=check.id),
            "events": url_for("checks.show", check_id=check.id) + "/events",
        },
    }


def time_text(seconds: float) -> str:
    """Return a time as the API says it: RFC 3339, UTC."""
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@api.get("/checks")
def listed() -> Response:
    """The asker's checks, newest first."""
    who = asker("read")
    here = services()
    limit = _limit(request.args.get("limit", "20"))
    before = _cursor(request.args.get("after", ""))
    found, following = checks.list_checks(here.db, who.owner, limit, before)
    counts = _without_set_asides(here, found)
    shown = [{**described(x), "summary": counts.get(x.id, x.summary)} for x in found]
    body: dict[str, Any] = {"checks": shown, "next": None}
    response_link = None
    if following is not None:
        cursor = base64.urlsafe_b64encode(f"{following[0]!r} {following[1]}".encode()).decode().rstrip("=")
        body["next"] = response_link = url_for("checks.listed", limit=limit, after=cursor)
    response = json_answer(body)
    if response_link is not None:
        response.headers["Link"] = f'<{response_link}>; rel="next"'
    return response


def _without_set_asides(here: Services, found: list[Check]) -> dict[str, dict[str, int]]:
    """Return the counts of those checks of which something was set aside: it does not count."""
    owners = {x.owner for x in found}
    kept = {(owner, x.sha256) for owner in owners for x in set_asides.of_files(
        here.db, owner, [f for check in found if check.owner == owner for f in check.files]
    )}  # fmt: skip
    counts = {}
    for check in found:
        if check.state == checks.DONE and any((check.owner, x.sha256) in kept for x in check.files):
            with suppress(NotStored):
                parts = assemble_report(here.db, here.blobs, check.files, check.owner)["parts"]
                counts[check.id] = counted(parts)
    return counts


def _limit(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= LONGEST_LIST):
        raise Problem("bad-request", f"limit is a whole number from 1 to {LONGEST_LIST}")
    return int(text)


def _cursor(text: str) -> tuple[float, str] | None:
    if not text:
        return None
    try:
        created, _, check_id = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)).decode("ascii").partition(" ")
        return float(created), check_id
    except (binascii.Error, ValueError):
        raise Problem("bad-request", "'after' is taken from the link to the next page; this is none") from None


@api.post("/checks/<check_id>/cancel")
def cancel(check_id: str) -> Response:
    """Stop a check that waits or runs."""
    check = visible_check(check_id, "check")
    here = services()
    if not checks.cancel_check(here.db, check.id):
        raise Problem("conflict", f"this check has ended already: {check.state}")
    now = checks.read_check(here.db, check.id) or check
    if now.ended:
        # It ran nowhere: nobody else tells those who listen.
        here.events.publish(now.id, [("state", {"state": now.state})])
    return json_answer(described(now), 202)


@api.delete("/checks/<check_id>")
def remove(check_id: str) -> Response:
    """Delete a check with all that was kept for it; a running one is stopped."""
    check = visible_check(check_id, "check")
    here = services()
    delete_and_purge(here.db, here.blobs, here.redis, [check.id])
    return Response(status=204)
