"""Wake-up calls: one is always sent, and not one for each check where they come thick and fast."""

from __future__ import annotations

import time

import pytest

from lintsvc.settings import Settings
from lintsvc.store.queue import Caller


def test_calls_that_come_thick_and_fast_are_not_all_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[str] = []
    monkeypatch.setattr(Caller, "check_now", lambda _, check_id, request="": sent.append(check_id) is None)
    caller = Caller(Settings(redis_url="redis://localhost"))
    caller.check("0")
    while not sent:
        time.sleep(0.001)
    for number in range(1, 2000):
        caller.check(str(number))
    # One that comes when all is quiet again is sent as well.
    while not caller._waiting.empty():
        time.sleep(0.001)
    before = len(sent)
    caller.check("last")
    while "last" not in sent:
        time.sleep(0.001)
    assert sent[0] == "0"
    assert before < 1000


def test_queue_that_is_away_is_said_soon_and_nothing_breaks(monkeypatch: pytest.MonkeyPatch) -> None:
    slept: list[float] = []
    monkeypatch.setattr("kombu.utils.functional.sleep", slept.append)
    caller = Caller(Settings(redis_url="unix:///nowhere/redis.sock"))
    assert caller.check_now("x") is False
    # Tried again, and not for long: somebody waits.
    assert 0 < sum(slept) < 1
