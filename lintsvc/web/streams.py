"""A check's events as server-sent events, on the event loop: a thousand idle ones cost no thread."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

import redis

from lintsvc.store import events
from lintsvc.store.checks import ENDED, Check, read_check
from lintsvc.web.hub import Event, Hub
from lintsvc.web.services import Services

log = logging.getLogger(__name__)

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

#: A comment is sent after so long without an event, so that nothing between takes the line for dead.
_SILENCE_SECONDS = 15.0
#: The records say that a check has ended a moment before its last events are told: they are waited for so long.
_LATE_SECONDS = 0.3
#: Events that wait for a slow client; one that falls further behind reads the stream again.
_MOST_WAITING = 256


class Follower:
    """Events of one check for one client, in order, none twice."""

    def __init__(self, services: Services, hub: Hub, check_id: str, last: str) -> None:
        self._services, self._hub, self._check_id, self.last = services, hub, check_id, last
        self._loop = asyncio.get_running_loop()
        self._queue: asyncio.Queue[Event | None] = asyncio.Queue(_MOST_WAITING)

    def _sink(self, event: Event | None) -> None:
        self._loop.call_soon_threadsafe(self._put, event)

    def _put(self, event: Event | None) -> None:
        if self._queue.full():
            # Too far behind: forget what waits, and read the stream from the last one sent.
            while not self._queue.empty():
                self._queue.get_nowait()
            event = None
        self._queue.put_nowait(event)

    def __enter__(self) -> Follower:
        # First listen, then read what was: nothing falls between.
        self._hub.follow(self._check_id, self._sink)
        self._queue.put_nowait(None)
        return self

    def __exit__(self, *_: object) -> None:
        self._hub.leave(self._check_id, self._sink)

    async def next(self, seconds: float) -> list[Event]:
        """Return the next events, none after so many seconds without."""
        try:
            first = await asyncio.wait_for(self._queue.get(), seconds)
        except TimeoutError:
            return []
        found = [first] if first is not None else await self._replay()
        fresh = []
        for event in found:
            if not self.last or events.order(event[0]) > events.order(self.last):
                self.last = event[0]
                fresh.append(event)
        return fresh

    async def rest(self) -> list[Event]:
        """Return what is still on its way when the records say that the check has ended."""
        found: list[Event] = []
        while more := await self.next(_LATE_SECONDS):
            found += more
            if _tells_the_end(more[-1]):
                break
        return found

    async def _replay(self) -> list[Event]:
        try:
            return await asyncio.to_thread(events.replay, self._services.redis, self._check_id, self.last)
        except redis.RedisError:
            return []  # the records still tell how it stands


def _tells_the_end(event: Event) -> bool:
    return event[1] == "state" and json.loads(event[2]).get("state") in ENDED


def _frames(found: list[Event]) -> bytes:
    return b"".join(_frame(event, data, number) for number, event, data in found)


def _frame(event: str, data: str, number: str = "") -> bytes:
    head = f"id: {number}\n" if number else ""
    return f"{head}event: {event}\ndata: {data}\n\n".encode()


def _state(check: Check) -> str:
    return json.dumps({"state": check.state, "step": check.step, "percent": check.percent, "summary": check.summary})


async def stream(
    services: Services,
    hub: Hub,
    check: Check,
    last: str,
    receive: Receive,
    send: Send,
    headers: list[tuple[bytes, bytes]],
) -> None:
    """Answer with the check's events until it has ended, the client is gone, or the server stops."""
    gone = asyncio.ensure_future(_disconnected(receive))
    headers = [*headers, (b"content-type", b"text/event-stream"), (b"cache-control", b"no-store"),
               (b"x-accel-buffering", b"no")]  # fmt: skip
    await send({"type": "http.response.start", "status": 200, "headers": headers})

    async def write(data: bytes, *, more: bool = True) -> None:
        await send({"type": "http.response.body", "body": data, "more_body": more})

    try:
        with Follower(services, hub, check.id, last) as follower:
            await write(b"retry: 2000\n\n" + _frame("state", _state(check)))
            now: Check | None = check
            while not (gone.done() or now is None or now.ended):
                waiting = asyncio.ensure_future(follower.next(_SILENCE_SECONDS))
                await asyncio.wait({waiting, gone}, return_when=asyncio.FIRST_COMPLETED)
                if gone.done():
                    waiting.cancel()
                    return
                found = waiting.result()
                await write(_frames(found) or b":\n\n")
                if not found or any(event == "state" for _, event, _ in found):
                    # The records have the last word, also when events were lost.
                    now = await asyncio.to_thread(_look, services, check.id)
            await write(_frames(await follower.rest()))
            if now is not None:
                await write(_frame("state", _state(now)))
            await write(b"", more=False)
    finally:
        gone.cancel()


def _look(services: Services, check_id: str) -> Check | None:
    from sqlalchemy.exc import SQLAlchemyError

    try:
        return read_check(services.db, check_id)
    except SQLAlchemyError as error:
        log.warning("a stream cannot look at its check: %s", str(error).splitlines()[0])
        # Not known is not ended: the stream goes on.
        return Check(check_id, "", "queued", 0.0, None, {}, "", 0.0, None, "", "", 0)


async def _disconnected(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
