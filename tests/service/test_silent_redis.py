"""A Redis whose machine is gone without a word: connections stand, and nothing ever answers."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
import redis
from flask import Flask

from lintsvc.settings import Settings
from lintsvc.store import events, queue
from lintsvc.web import rates
from lintsvc.web.problems import Problem


class Silent:
    """Takes connections and reads what comes."""

    def __init__(self) -> None:
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"redis://127.0.0.1:{self.listening.getsockname()[1]}/0"
        self.lines: list[socket.socket] = []
        threading.Thread(target=self._take, daemon=True).start()

    def _take(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                self.lines.append(self.listening.accept()[0])

    def close(self) -> None:
        # A plain close would leave the thread in its call.
        with contextlib.suppress(OSError):
            self.listening.shutdown(socket.SHUT_RDWR)
        for line in (self.listening, *self.lines):
            line.close()


@pytest.fixture
def silent(monkeypatch: pytest.MonkeyPatch) -> Iterator[Silent]:
    for module in (events, queue):
        monkeypatch.setattr(module, "ANSWER_SECONDS", 0.2)
    made = Silent()
    yield made
    made.close()


def test_silence_is_not_waited_for_twice(silent: Silent) -> None:
    client = events.connect(Settings(redis_url=silent.url))
    with pytest.raises(redis.TimeoutError):
        client.ping()
    assert len(silent.lines) == 1
    client.close()


def test_requests_do_not_wait_for_a_silent_redis_one_after_another(
    silent: Silent, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = events.connect(Settings(redis_url=silent.url))
    here = SimpleNamespace(settings=Settings(requests_a_minute=20), tokens_needed=False, redis=client)
    monkeypatch.setattr(rates, "services", lambda: here)
    monkeypatch.setattr(rates, "_away", events.Away())
    monkeypatch.setattr(rates, "_own", rates.OwnCount())
    monkeypatch.setattr(events, "AWAY_SECONDS", 1000.0)
    refused = 0
    with Flask("x").test_request_context("/api/v1/checks"):
        for _ in range(60):
            try:
                rates.refuse_too_often()
            except Problem:
                refused += 1
    # The limit holds all the same (over the end of a minute it begins anew).
    assert 20 <= refused <= 40
    assert len(silent.lines) == 1
    client.close()


def test_events_are_dropped_while_redis_is_silent(silent: Silent, monkeypatch: pytest.MonkeyPatch) -> None:
    client = events.connect(Settings(redis_url=silent.url))
    monkeypatch.setattr(events, "AWAY_SECONDS", 1000.0)
    publisher = events.Publisher(client)
    for _ in range(50):
        publisher.publish("c", [("step", {"step": "read"})])
    assert len(silent.lines) == 1
    client.close()


def test_call_for_a_worker_gives_up_on_a_silent_redis(silent: Silent) -> None:
    assert queue.Caller(Settings(redis_url=silent.url)).check_now("c") is False
