"""What belongs to a check's files: other report formats, geometry, places of findings, highlights.

Most of it is made by a worker on first demand. Until it is there the answer is 202 with Retry-After;
the layer outside waits for it, so that a client seldom sees that.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import re
from collections.abc import Iterator
from typing import IO

from flask import Blueprint, Response, request

from lintsvc.reports.media import BODY_TYPE, WIDTHS_TYPE
from lintsvc.store import checks, keeping
from lintsvc.store.assemble import NotStored, assemble_report, read_artefact
from lintsvc.store.blobs import CHUNK
from lintsvc.store.checks import Check
from lintsvc.store.logs import request_id
from lintsvc.store.renders import DRAWN, FAILED_SECONDS, REASON, failed_key, media_type, place_of, stored_as
from lintsvc.web.auth import visible_check
from lintsvc.web.checks_api import WAIT_HEADER, json_answer
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

api = Blueprint("files", __name__)


def _ended(check: Check) -> Check:
    if check.state in (checks.DONE, checks.FAILED):
        return check
    raise Problem("not-ready", f"this check is {check.state}; its report comes when it is done", state=check.state)


def _number(check: Check, number: int) -> int:
    if number >= len(check.files):
        raise Problem("not-found", f"there is no file {number} in this check; they are numbered from 0")
    return number


@api.get("/checks/<check_id>/report.json")
def report_json(check_id: str) -> Response:
    """The report, as `lintsvc schema` describes it."""
    check = _ended(visible_check(check_id))
    here = services()
    response = json_answer(assemble_report(here.db, here.blobs, check.files, check.owner))
    return _as_download(response, check, "report.json") if "download" in request.args else response


@api.get("/checks/<check_id>/report.<any(sarif, xml, html, pdf):kind>")
def report_other(check_id: str, kind: str) -> Response:
    """The report as SARIF, JUnit XML, HTML or PDF."""
    check = _ended(visible_check(check_id))
    return _made(check, f"report.{kind}", 0)


@api.get("/checks/<check_id>/highlights.<any(glb, svg, dxf):kind>")
def highlights(check_id: str, kind: str) -> Response:
    """One file's geometry with what was found marked in it. `file` says which, from 0."""
    return _made_of_file(_ended(visible_check(check_id)), f"highlights.{kind}")


@api.get("/checks/<check_id>/files/<int(max=9999):number>/geometry")
def geometry(check_id: str, number: int) -> Response:
    """A body as bytes or a flat as JSON, see `lintsvc.reports.geometry`. Also while the check runs."""
    check = visible_check(check_id)
    return _made(check, "geometry", _number(check, number))


@api.get("/checks/<check_id>/files/<int(max=9999):number>/widths")
def widths(check_id: str, number: int) -> Response:
    """Wall thickness and gap width all over a body, see `lintsvc.reports.geometry_widths`."""
    check = visible_check(check_id)
    return _made(check, "widths", _number(check, number))


@api.get("/checks/<check_id>/files/<int(max=9999):number>/lists")
def lists(check_id: str, number: int) -> Response:
    """Bodies and holes of a body part with their faces, see `lintsvc.reports.geometry_lists`."""
    check = visible_check(check_id)
    return _made(check, "lists", _number(check, number))


@api.get("/checks/<check_id>/files/<int(max=9999):number>/folded")
def folded(check_id: str, number: int) -> Response:
    """A sheet part as folded, to be posed bend by bend; see `lintsvc.reports.folded`. Also while the check runs."""
    check = visible_check(check_id)
    return _made(check, "folded", _number(check, number))


@api.get("/checks/<check_id>/folded.<any(glb, step):kind>")
def folded_file(check_id: str, kind: str) -> Response:
    """One file's sheet part folded whole, as a body. `file` says which, from 0."""
    return _made_of_file(visible_check(check_id), f"folded.{kind}")


@api.get("/checks/<check_id>/files/<int(max=9999):number>/materials.json")
def materials(check_id: str, number: int) -> Response:
    """One file held against every material and thickness that the packs know, in pieces that take a few seconds each.

    `next` of a piece is the `from` of the one after it.
    """
    check = _ended(visible_check(check_id))
    start = _count(request.args.get("from", "0"), "'from' is the row that a piece starts with, as the one before says")
    return _made(check, f"materials.{start}.json" if start else "materials.json", _number(check, number))


def _count(text: str, otherwise: str) -> int:
    """Read a number of few digits. Raises Problem."""
    if not (text.isascii() and text.isdigit() and len(text) <= 4):
        raise Problem("bad-request", otherwise)
    return int(text)


@api.get("/checks/<check_id>/files/<int(max=9999):number>/versions")
def versions(check_id: str, number: int) -> Response:
    """One file held against a file of an earlier check: findings gone, new and kept, and where the shape differs."""
    check = _ended(visible_check(check_id, "check"))
    old = _ended(visible_check(request.args.get("old", "")[:80], "check"))
    at = _count(request.args.get("old_file", "0"), "'old_file' is the number of a file, from 0")
    name = f"versions.{_number(check, number)}.{old.id}.{_number(old, at)}"
    return _made(check, name, number)


@api.get("/checks/<check_id>/files/<int(max=9999):number>/picture.svg")
def picture(check_id: str, number: int) -> Response:
    """One file's picture with the findings numbered, as reports show it."""
    check = _ended(visible_check(check_id))
    return _made(check, "picture.svg", _number(check, number))


@api.get("/checks/<check_id>/files/<int(max=9999):number>/pictures.json")
def pictures(check_id: str, number: int) -> Response:
    """One file's pictures as SVG, as the HTML report shows them: `whole`, and `close` to findings by their number."""
    check = _ended(visible_check(check_id))
    return _made(check, "pictures.json", _number(check, number))


@api.get("/checks/<check_id>/files/<int(max=9999):number>/findings")
def placed_findings(check_id: str, number: int) -> Response:
    """Where each finding lies in the geometry as it is sent."""
    check = _ended(visible_check(check_id))
    file = check.files[_number(check, number)]
    here = services()
    try:
        text = read_artefact(here.db, here.blobs, f"result/{file.result}", "places.json")
    except NotStored:
        raise Problem("not-found", "this check was deleted a moment ago") from None
    return json_answer(json.loads(text))


def _made_of_file(check: Check, name: str) -> Response:
    """Answer for the file that the query names."""
    text = request.args.get("file", "0")
    if not (text.isascii() and text.isdigit() and len(text) <= 4):
        raise Problem("bad-request", "'file' is the number of a file, from 0")
    return _made(check, name, _number(check, int(text)))


def _made(check: Check, name: str, number: int) -> Response:
    here = services()
    place = place_of(check, name, number)
    if place is None:
        return _later(check, name, number)
    why = keeping.find_artefact(here.db, place, name + REASON)
    if why is not None:
        with keeping.open_artefact(here.blobs, why) as file:
            raise Problem("not-made", file.read().decode("utf-8", "replace"))
    kept_as = stored_as(here.db, check, name)
    found = keeping.find_artefact(here.db, place, kept_as)
    if found is None:
        if failed := here.redis.get(failed_key(place, name)):
            raise Problem("failed", str(failed), headers={"Retry-After": str(FAILED_SECONDS)})
        return _later(check, name, number)
    # A place and a name are written once and never changed, and the place is a hash or a random id.
    etag = hashlib.sha256(f"{place}/{kept_as}".encode()).hexdigest()[:32]
    if request.if_none_match.contains(etag):
        return Response(status=304, headers={"ETag": f'"{etag}"'})
    opened, size = keeping.open_artefact(here.blobs, found), found.size
    response = _drawn(opened, size) if name in DRAWN else _plain(opened, size, name)
    response.set_etag(etag)
    response.headers["Cache-Control"] = "private, no-cache"
    if name not in DRAWN:
        _as_download(response, check, name, number)
    return response


def _later(check: Check, name: str, number: int) -> Response:
    """Ask a worker to make it, once in a while, and say so."""
    here = services()
    # Asked for twice within a few seconds: the first call is still under way.
    fresh = here.redis.set(f"lintsvc:asked:{check.id}:{name}:{number}", 1, nx=True, ex=5)
    if fresh:
        here.caller.render(check.id, name, number, request_id.get())
    response = json_answer({"state": "being made", "name": name, "file": number}, 202)
    response.headers["Retry-After"] = "1"
    response.headers[WAIT_HEADER] = f"made {check.id}"
    return response


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while data := file.read(CHUNK):
            yield data


def _plain(file: IO[bytes], size: int, name: str) -> Response:
    response = Response(_chunks(file), content_type=media_type(name))
    response.headers["Content-Length"] = str(size)
    return response


def _drawn(file: IO[bytes], size: int) -> Response:
    """What the page draws is stored as brotli; whoever does not take that gets gzip, or plain bytes."""
    import brotli

    first = file.read(1 << 16)
    start: bytes = brotli.Decompressor().process(first)
    media = "application/json" if start[:1] == b"{" else WIDTHS_TYPE if start[:4] == b"LSW1" else BODY_TYPE
    accepted = request.accept_encodings
    if accepted["br"] > 0:
        file.seek(0)
        response = Response(_chunks(file), mimetype=media)
        response.headers["Content-Encoding"] = "br"
        response.headers["Content-Length"] = str(size)
    else:
        with file:
            data: bytes = brotli.decompress(first + file.read())
        if accepted["gzip"] > 0:
            response = Response(gzip.compress(data, 1), mimetype=media)
            response.headers["Content-Encoding"] = "gzip"
        else:
            response = Response(data, mimetype=media)
    response.headers["Vary"] = "Accept-Encoding"
    return response


def _as_download(response: Response, check: Check, name: str, number: int = 0) -> Response:
    """Let the browser save it and never show it: an SVG or HTML made from a stranger's file is no page of ours."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", check.files[number].name.rpartition(".")[0]).strip("-.") or "part"
    response.headers["Content-Disposition"] = f'attachment; filename="{stem[:80]}.{name}"'
    return response
