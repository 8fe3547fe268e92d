"""Resumable uploads by the tus protocol, version 1.0.0 (tus.io): core, creation, termination, expiration.

A finished upload is checked by naming its id in the field `upload` of `POST /checks`.
"""

from __future__ import annotations

import base64
import binascii
from email.utils import formatdate

from flask import Blueprint, Response, request, url_for
from werkzeug.exceptions import ClientDisconnected

from lintsvc.settings import MIB
from lintsvc.store import keeping, uploads
from lintsvc.store.blobs import CHUNK
from lintsvc.store.checks import FileOf
from lintsvc.store.uploads import Upload, part_blob
from lintsvc.web.auth import asker
from lintsvc.web.incoming import IncomingFile, refuse_without_room, shown_name
from lintsvc.web.problems import Problem
from lintsvc.web.services import Services, services

api = Blueprint("uploads", __name__)

VERSION = "1.0.0"
PIECE_TYPE = "application/offset+octet-stream"


def _headers(response: Response) -> Response:
    response.headers["Tus-Resumable"] = VERSION
    response.headers["Cache-Control"] = "no-store"
    return response


def _check_version() -> None:
    if request.headers.get("Tus-Resumable") != VERSION:
        raise Problem("bad-request", f"send 'Tus-Resumable: {VERSION}'", headers={"Tus-Version": VERSION})


@api.route("/uploads", methods=["OPTIONS"])
def abilities() -> Response:
    """What of the protocol is spoken."""
    response = _headers(Response(status=204))
    response.headers["Tus-Version"] = VERSION
    response.headers["Tus-Extension"] = "creation,termination,expiration"
    response.headers["Tus-Max-Size"] = str(services().settings.upload_mib * MIB)
    return response


@api.post("/uploads")
def create() -> Response:
    """Begin an upload of a stated length."""
    who = asker("check")
    here = services()
    _check_version()
    length = _whole_number("Upload-Length")
    if length > here.settings.upload_mib * MIB:
        raise Problem("too-large", f"one file may have at most {here.settings.upload_mib} MiB")
    refuse_without_room(here.settings.incoming, 2 * length)
    upload = uploads.start_upload(here.db, who.id, _name(), length)
    if length == 0:
        _join(here, upload)
    response = _headers(Response(status=201))
    response.headers["Location"] = url_for("uploads.look", upload_id=upload.id)
    response.headers["Upload-Expires"] = formatdate(upload.expires, usegmt=True)
    return response


def _whole_number(header: str) -> int:
    text = request.headers.get(header, "")
    if not (text.isascii() and text.isdigit() and len(text) <= 15):
        raise Problem("bad-request", f"{header} must be a whole number of bytes")
    return int(text)


def _name() -> str:
    """The file's name from the upload's metadata: comma-separated pairs, the value in base64."""
    for pair in request.headers.get("Upload-Metadata", "").split(","):
        key, _, value = pair.strip().partition(" ")
        if key == "filename":
            try:
                return shown_name(base64.b64decode(value, validate=True).decode("utf-8"))
            except (binascii.Error, UnicodeDecodeError):
                raise Problem("bad-request", "the filename in Upload-Metadata is no base64 of UTF-8") from None
    return "part"


def _mine(upload_id: str) -> Upload:
    who = asker("check")
    upload = uploads.read_upload(services().db, upload_id) if len(upload_id) <= 64 else None
    if upload is None or (who.owner is not None and upload.owner != who.owner):
        raise Problem("not-found", "there is no upload with this id; it may have expired")
    return upload


@api.route("/uploads/<upload_id>", methods=["HEAD"])
def look(upload_id: str) -> Response:
    """How far an upload is."""
    upload = _mine(upload_id)
    response = _headers(Response(status=200))
    response.headers["Upload-Offset"] = str(upload.offset)
    response.headers["Upload-Length"] = str(upload.length)
    response.headers["Upload-Expires"] = formatdate(upload.expires, usegmt=True)
    return response


@api.patch("/uploads/<upload_id>")
def add(upload_id: str) -> Response:
    """Add the next piece. What came before a connection broke is kept."""
    upload = _mine(upload_id)
    here = services()
    _check_version()
    if request.mimetype != PIECE_TYPE:
        raise Problem("bad-request", f"a piece is sent as {PIECE_TYPE}")
    if _whole_number("Upload-Offset") != upload.offset:
        raise Problem("conflict", f"the upload stands at byte {upload.offset}", offset=upload.offset)
    piece = IncomingFile(here.settings.incoming, upload.length - upload.offset)
    try:
        broken = _receive(piece)
        piece.finish()
        if piece.size:
            name = part_blob(upload.id, upload.parts)
            # A piece of this number that was never counted in may lie there from a process that died.
            here.blobs.delete(name)
            here.blobs.put(name, piece.path)
            if not uploads.add_part(here.db, upload, piece.size):
                raise Problem("conflict", "another piece was added at the same time; ask for the offset again")
    finally:
        piece.close()
    upload = _mine(upload_id)
    if upload.offset == upload.length and upload.sha256 is None:
        _join(here, upload)
    if broken:
        raise Problem("bad-request", "the connection broke; what came was kept", offset=upload.offset)
    response = _headers(Response(status=204))
    response.headers["Upload-Offset"] = str(upload.offset)
    response.headers["Upload-Expires"] = formatdate(upload.expires, usegmt=True)
    return response


def _receive(piece: IncomingFile) -> bool:
    """Write what comes. True when the connection broke before the end."""
    try:
        while data := request.stream.read(CHUNK):
            piece.write(data)
    except (ClientDisconnected, ConnectionError):
        return True
    return False


def _join(here: Services, upload: Upload) -> None:
    whole = IncomingFile(here.settings.incoming, upload.length)
    try:
        for number in range(upload.parts):
            with here.blobs.open(part_blob(upload.id, number)) as part:
                while data := part.read(CHUNK):
                    whole.write(data)
        whole.finish()
        keeping.keep_upload(here.db, here.blobs, whole.sha256, whole.path)
        uploads.finish_upload(here.db, upload.id, whole.sha256)
    finally:
        whole.close()
    uploads.drop_parts(here.blobs, upload.id)


@api.delete("/uploads/<upload_id>")
def drop(upload_id: str) -> Response:
    """Forget an upload."""
    upload = _mine(upload_id)
    here = services()
    uploads.drop_upload(here.db, here.blobs, upload.id)
    return _headers(Response(status=204))


def finished_upload(here: Services, owner: str | None, upload_id: str) -> FileOf:
    """Return the file of a finished upload. Raises Problem."""
    upload = uploads.read_upload(here.db, upload_id) if len(upload_id) <= 64 else None
    if upload is None or (owner is not None and upload.owner != owner):
        raise Problem("not-found", "there is no upload with this id; it may have expired")
    if upload.sha256 is None:
        raise Problem("not-ready", f"the upload stands at byte {upload.offset} of {upload.length}")
    return FileOf(0, upload.name, upload.sha256, upload.length)
