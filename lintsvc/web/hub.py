"""One listener a process: what Redis says of new events, passed on to whoever follows a check."""

from __future__ import annotations

import logging
import threading
from collections import defaultdict
from collections.abc import Callable

import redis

from lintsvc.store.events import CHANNEL

log = logging.getLogger(__name__)

#: An event as (id, event, data); None means that something may have been missed.
Event = tuple[str, str, str]
Sink = Callable[[Event | None], None]


class Hub:
    """Followers by check. Sinks are called from the listener's thread and must not block."""

    def __init__(self, client: redis.Redis) -> None:
        self._client = client
        self._sinks: dict[str, set[Sink]] = defaultdict(set)
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hub", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(5)

    @property
    def followers(self) -> int:
        """How many follow."""
        with self._lock:
            return sum(len(x) for x in self._sinks.values())

    def follow(self, check_id: str, sink: Sink) -> None:
        """Pass a check's events on to the sink from now on."""
        with self._lock:
            self._sinks[check_id].add(sink)

    def leave(self, check_id: str, sink: Sink) -> None:
        """Stop passing them on."""
        with self._lock:
            self._sinks[check_id].discard(sink)
            if not self._sinks[check_id]:
                del self._sinks[check_id]

    def _run(self) -> None:
        wait = 0.1
        while not self._stopping.is_set():
            try:
                with self._client.pubsub(ignore_subscribe_messages=True) as listener:  # type: ignore[no-untyped-call]
                    listener.subscribe(CHANNEL)
                    # Whatever came while nobody listened stands in the streams.
                    self._tell_all(None)
                    wait = 0.1
                    while not self._stopping.is_set():
                        message = listener.get_message(timeout=0.5)
                        if message is not None:
                            self._pass_on(message["data"])
            except (redis.RedisError, OSError) as error:
                log.warning("events are not heard: %s", error)
                self._stopping.wait(wait)
                wait = min(2 * wait, 5.0)

    def _pass_on(self, text: str) -> None:
        check_id, number, event, data = text.split("\n", 3)
        with self._lock:
            sinks = list(self._sinks.get(check_id, ()))
        for sink in sinks:
            sink((number, event, data))

    def _tell_all(self, event: Event | None) -> None:
        with self._lock:
            sinks = [x for group in self._sinks.values() for x in group]
        for sink in sinks:
            sink(event)
