"""Errors as problem details (RFC 9457): one shape for whatever goes wrong, and nothing of our insides."""

from __future__ import annotations

import errno
import logging
from collections.abc import Mapping
from typing import Any

import redis
from flask import Flask, Response, json
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import HTTPException

from lintsvc.store.logs import request_id

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"

#: Kinds of problem: status and title. The kind is the last piece of `type`.
KINDS: Mapping[str, tuple[int, str]] = {
    "bad-choice": (422, "A choice cannot be used"),
    "bad-order": (422, "The order file cannot be used"),
    "bad-request": (400, "The request cannot be understood"),
    "no-file": (422, "No file was sent"),
    "too-many-files": (422, "Too many files"),
    "too-large": (413, "The upload is too large"),
    "not-found": (404, "There is no such thing"),
    "not-ready": (409, "It is not there yet"),
    "not-made": (404, "The part has no such thing"),
    "unauthorised": (401, "A token is needed"),
    "forbidden": (403, "This is not allowed"),
    "wrong-origin": (403, "The request comes from another site"),
    "key-used": (422, "The idempotency key was used for another request"),
    "quota": (429, "The quota is used up"),
    "too-often": (429, "Too many requests"),
    "no-room": (507, "There is no room left"),
    "away": (503, "A part of the service is away"),
    "failed": (500, "The service failed"),
    "conflict": (409, "The state does not allow this"),
}


class Problem(Exception):
    """Answered as problem details. `more` adds members, `headers` adds header lines."""

    def __init__(self, kind: str, detail: str, *, headers: Mapping[str, str] | None = None, **more: Any) -> None:
        self.kind, self.detail, self.headers, self.more = kind, detail, headers or {}, more
        super().__init__(f"{kind}: {detail}")


def answer(problem: Problem) -> Response:
    """Return the response for a problem."""
    status, title = KINDS[problem.kind]
    body = {
        "type": f"urn:lintsvc:problem:{problem.kind}",
        "title": title,
        "status": status,
        "detail": problem.detail,
        **problem.more,
    }
    if request := request_id.get():
        body["request"] = request
    response = Response(json.dumps(body), status, mimetype=MEDIA_TYPE)
    response.headers.extend(dict(problem.headers))
    return response


#: What other layers answer with, by status.
_BY_STATUS = {404: "not-found", 413: "too-large", 401: "unauthorised", 403: "forbidden", 422: "bad-request"}


def handle(app: Flask) -> None:
    """Make the app answer every error as a problem."""

    @app.errorhandler(Problem)
    def _problem(error: Problem) -> Response:
        return answer(error)

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Response:
        status = error.code or 500
        kind = _BY_STATUS.get(status, "bad-request" if status < 500 else "failed")
        response = answer(Problem(kind, error.description or ""))
        body = response.get_json()
        body["status"], body["title"] = status, body["title"] if status == KINDS[kind][0] else error.name
        response.data, response.status_code = json.dumps(body), status
        for name, value in error.get_headers():
            if name.lower() == "allow":
                response.headers[name] = value
        return response

    @app.errorhandler(SQLAlchemyError)
    def _records(error: SQLAlchemyError) -> Response:
        log.error("records: %s", str(error).splitlines()[0])
        if "disk is full" in str(error) or "No space left" in str(error):
            return answer(Problem("no-room", "The records' disk is full. Nothing was kept of this request."))
        detail = "The records cannot be reached. Nothing was kept of this request; send it again in a moment."
        return answer(Problem("away", detail, headers={"Retry-After": "5"}))

    @app.errorhandler(redis.RedisError)
    def _redis(error: redis.RedisError) -> Response:
        log.error("redis: %s", error)
        return answer(
            Problem("away", "The queue cannot be reached; try again in a moment.", headers={"Retry-After": "5"})
        )

    @app.errorhandler(OSError)
    def _system(error: OSError) -> Response:
        log.error("storage: %s", error)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            return answer(Problem("no-room", "The disk is full. Nothing was kept of this request."))
        detail = "The storage cannot be reached. Nothing was kept of this request; send it again in a moment."
        return answer(Problem("away", detail, headers={"Retry-After": "5"}))

    @app.errorhandler(Exception)
    def _any(error: Exception) -> Response:
        # The border of the web process: the log gets all of it, the client only where to ask.
        log.exception("a request failed: %s", error)
        return answer(Problem("failed", "The service met an error of its own; the log has it under the request's id."))
