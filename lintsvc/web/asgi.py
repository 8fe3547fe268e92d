"""The layer outside Flask: request ids, slow clients, waiting, event streams."""

from __future__ import annotations

import asyncio
import logging
import re
import secrets
import time
from collections.abc import Iterable, Sequence
from typing import Any

import redis
from a2wsgi import WSGIMiddleware
from flask import Flask

from lintsvc.store import events
from lintsvc.store.logs import request_id
from lintsvc.web.app import PREFIX, create_app
from lintsvc.web.auth import visible_check
from lintsvc.web.checks_api import WAIT_HEADER
from lintsvc.web.hub import Hub
from lintsvc.web.services import Services
from lintsvc.web.streams import Follower, Message, Receive, Scope, Send, stream

log = logging.getLogger(__name__)

_EVENTS = re.compile(rf"^{PREFIX}/checks/([A-Za-z0-9_-]{{1,64}})/events$")
_REQUEST_ID = re.compile(r"^[A-Za-z0-9._-]{1,64}$")
_EVENT_ID = re.compile(r"^[0-9]{1,20}(-[0-9]{1,20})?$")
_METHODS = frozenset({"GET", "HEAD", "POST", "PATCH", "DELETE", "OPTIONS"})
#: Things made on demand are waited for this long; a check only as long as the client says.
_MADE_SECONDS, _LONGEST_WAIT = 20.0, 60.0
#: A sender must reach this rate, measured after the first half minute, or it is cut off.
_SLOWEST_BYTES_A_SECOND, _PATIENCE_SECONDS = 2_048, 30.0


Headers = Sequence[tuple[bytes, bytes]]


class TooSlow(Exception):
    """The client sends nothing, or next to nothing."""


class Web:
    """The ASGI application."""

    def __init__(self, services: Services) -> None:
        self.services = services
        self.flask: Flask = create_app(services)
        # Its types want the exact message types; ours are plain mappings.
        self.wsgi: Any = WSGIMiddleware(_with_chunked_bodies(self.flask), workers=48)
        self.hub = Hub(services.redis)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection's request."""
        if scope["type"] == "lifespan":
            await self._lifespan(receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, send)

    async def _lifespan(self, receive: Receive, send: Send) -> None:
        while True:
            message = await receive()
            if message["type"] == "lifespan.startup":
                self.hub.start()
                self.services.tally.start()
            else:
                await asyncio.to_thread(self.hub.stop)
            await send({"type": message["type"] + ".complete"})
            if message["type"] == "lifespan.shutdown":
                return

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = dict(scope["headers"])
        said = headers.get(b"x-request-id", b"").decode("latin-1")
        request_id.set(said if _REQUEST_ID.match(said) else secrets.token_hex(8))
        started = time.perf_counter()
        status = 0

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*message["headers"], (b"x-request-id", request_id.get().encode())]
            await send(message)

        found = _EVENTS.match(scope["path"])
        try:
            if found and scope["method"] == "GET":
                await self._stream(found[1], scope, receive, sending)
            else:
                await self._wait(scope, _Guarded(receive, self.services.settings.upload_idle_seconds), sending)
        except TooSlow:
            # The connection is closed without an answer: whoever sends so slowly does not read one.
            log.warning("%s %s: the client was too slow", scope["method"], scope["path"])
        seconds = time.perf_counter() - started
        log.info("%s %s %d %.1f ms", scope["method"], scope["path"], status, 1000 * seconds)
        if not found and scope["path"].startswith(PREFIX):
            # A client may invent methods; each label is kept for ever.
            method = scope["method"] if scope["method"] in _METHODS else "other"
            self.services.tally.measure("request_seconds", seconds, method=method, status=f"{status // 100}xx")

    async def _stream(self, check_id: str, scope: Scope, receive: Receive, send: Send) -> None:
        headers = dict(scope["headers"])
        last = headers.get(b"last-event-id", b"").decode("latin-1")
        check = await asyncio.to_thread(self._visible, check_id, scope)
        if check is None:
            # Flask words the refusal: the same answer as for the check itself.
            inner = {
                **scope,
                "path": scope["path"].removesuffix("/events"),
                "raw_path": scope.get("raw_path", b"").removesuffix(b"/events"),
            }
            await self.wsgi(inner, receive, send)
            return
        if last and check.ended and not await asyncio.to_thread(self._missed, check_id, last):
            # An event source that has heard everything is told not to come again.
            await send({"type": "http.response.start", "status": 204, "headers": []})
            await send({"type": "http.response.body", "body": b""})
            return
        await stream(self.services, self.hub, check, last if _EVENT_ID.match(last) else "", receive, send, _HARDENING)

    def _missed(self, check_id: str, last: str) -> bool:
        """Whether there is something to tell after this event: the line may have broken just before the end."""
        try:
            return bool(_EVENT_ID.match(last) and events.replay(self.services.redis, check_id, last))
        except redis.RedisError:
            return False  # the check itself tells how it ended

    def _visible(self, check_id: str, scope: Scope) -> Any:
        """Return the check when whoever asks may see it, else None."""
        from lintsvc.web.auth import refuse_foreign
        from lintsvc.web.problems import Problem

        headers = [(k.decode("latin-1"), v.decode("latin-1")) for k, v in scope["headers"]]
        with self.flask.test_request_context(
            scope["path"], query_string=scope["query_string"].decode("latin-1"), headers=headers
        ):
            try:
                refuse_foreign()
                return visible_check(check_id)
            except Problem:
                return None

    async def _wait(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on to Flask; where the answer is not ready and the client would wait, ask again until it is."""
        first = _Held(send, hold=True)
        await self.wsgi(scope, receive, first)
        if first.wait_for is None:
            return
        kind, check_id = first.wait_for
        seconds = _prefer_wait(scope, _MADE_SECONDS if kind == "made" else 0.0)
        if seconds <= 0:
            await first.release()
            return
        # RFC 7240, section 3: which of the client's wishes was granted.
        applied = [(b"preference-applied", b"wait=%d" % seconds)] if kind == "check" else []
        again = _as_get(scope, first.location)
        ends = time.monotonic() + seconds
        with Follower(self.services, self.hub, check_id, "") as follower:
            while (left := ends - time.monotonic()) > 0:
                held = _Held(send, hold=True, more=applied)
                await self.wsgi(again, _nothing, held)
                if held.wait_for is None:
                    return
                if scope["method"] == "GET":
                    first = held
                # Also without an event: it may have been lost, and the records know.
                await follower.next(min(2.0, left))
        await first.release(applied)


class _Held:
    """Keeps an answer back that says what is to be waited for; passes any other on as it comes."""

    def __init__(self, send: Send, *, hold: bool, more: Headers = ()) -> None:
        self._send, self._hold, self._more = send, hold, more
        self._kept: list[Message] = []
        self.wait_for: tuple[str, str] | None = None
        self.location = ""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [(bytes(k), bytes(v)) for k, v in message["headers"]]
            name = WAIT_HEADER.lower().encode()
            said = next((v for k, v in headers if k.lower() == name), b"")
            # The server adds the date itself.
            message["headers"] = [(k, v) for k, v in headers if k.lower() not in (name, b"date")]
            self.location = next((v for k, v in headers if k.lower() == b"location"), b"").decode("latin-1")
            if said and self._hold:
                kind, _, check_id = said.decode("latin-1").partition(" ")
                self.wait_for = (kind, check_id)
        if self.wait_for is not None:
            self._kept.append(message)
        else:
            await self._send(_with(message, self._more))

    async def release(self, more: Headers = ()) -> None:
        """Send what was kept, with more headers."""
        for message in self._kept:
            await self._send(_with(message, more))


def _with(message: Message, more: Headers) -> Message:
    if message["type"] == "http.response.start":
        message["headers"] = [*message["headers"], *more]
    return message


def _prefer_wait(scope: Scope, unsaid: float) -> float:
    text = dict(scope["headers"]).get(b"prefer", b"").decode("latin-1")
    found = re.search(r"(?:^|,)\s*wait=(\d{1,4})", text, re.IGNORECASE)
    return min(float(found[1]), _LONGEST_WAIT) if found else unsaid


def _as_get(scope: Scope, location: str) -> Scope:
    """The request to ask again with: the same, or for a new check a look at it."""
    dropped = {b"content-length", b"content-type", b"transfer-encoding", b"expect"}
    headers = [(k, v) for k, v in scope["headers"] if k.lower() not in dropped]
    again = {**scope, "method": "GET", "headers": headers}
    if location:
        again |= {"path": location, "raw_path": location.encode(), "query_string": b""}
    return again


async def _nothing() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}


class _Guarded:
    """Receives a body, and gives up on a sender that stalls or trickles: it would hold a thread."""

    def __init__(self, receive: Receive, idle_seconds: float) -> None:
        self._receive, self._idle = receive, idle_seconds
        self._started = time.monotonic()
        self._size = 0
        self._complete = False

    async def __call__(self) -> Message:
        if self._complete:
            return await self._receive()
        try:
            message = await asyncio.wait_for(self._receive(), self._idle)
        except TimeoutError:
            return self._give_up()
        self._size += len(message.get("body", b""))
        self._complete = not message.get("more_body", False)
        passed = time.monotonic() - self._started
        if not self._complete and passed > _PATIENCE_SECONDS and self._size < passed * _SLOWEST_BYTES_A_SECOND:
            return self._give_up()
        return message

    def _give_up(self) -> Message:
        self._complete = True
        log.warning("an upload stalled after %d bytes and is given up", self._size)
        return {"type": "http.disconnect"}


_HARDENING = [(b"x-content-type-options", b"nosniff"), (b"referrer-policy", b"no-referrer")]


def _with_chunked_bodies(app: Flask) -> Any:
    """Let Flask read a body of unstated length to its end; its size is limited all the same."""

    def wrapped(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        if "chunked" in environ.get("HTTP_TRANSFER_ENCODING", "").lower():
            environ["wsgi.input_terminated"] = True
        return app(environ, start_response)

    return wrapped
