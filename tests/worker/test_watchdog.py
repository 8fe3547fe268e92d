"""A worker that hangs when it is to end is ended."""

from __future__ import annotations

import os
import threading
from types import SimpleNamespace
from typing import Any

import pytest
from lintsvc_worker import watchdog

from lintsvc.settings import SERVED_BY


class Left(Exception):
    """Stands for the end of the process."""


@pytest.fixture
def context(monkeypatch: pytest.MonkeyPatch) -> Any:
    def leave(status: int) -> None:
        raise Left(status)

    monkeypatch.setattr(os, "_exit", leave)
    monkeypatch.setattr(watchdog, "_STOP_SECONDS", 0.05)
    monkeypatch.setattr(watchdog, "_LOOK_SECONDS", 0.02)
    monkeypatch.setattr(watchdog, "_calls_are_due", lambda _: False)
    monkeypatch.delenv(SERVED_BY, raising=False)
    ended = threading.Event()
    settings = SimpleNamespace(resend_seconds=10.0, stop_seconds=0.05)
    zygote = SimpleNamespace(stop=ended.set)
    return SimpleNamespace(settings=settings, stopping=threading.Event(), zygote=zygote, ended=ended)


def ends(context: Any, seconds: float) -> bool:
    """Whether the watchdog ends the process and its children within so long."""
    found: list[bool] = []

    def run() -> None:
        try:
            watchdog.watch(context, watchdog.Activity())
        except Left as left:
            found.append(left.args == (watchdog.QUIET,) and context.ended.is_set())

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    ended = found == [True]
    # What is left of it goes by itself.
    context.stopping.set()
    thread.join()
    return ended


def test_a_stop_without_end_is_ended(context: Any) -> None:
    context.stopping.set()
    assert ends(context, 20)


def test_a_worker_whose_serving_process_is_gone_does_not_stay(context: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SERVED_BY, "1" if os.getppid() != 1 else "2")
    assert ends(context, 20)


@pytest.mark.parametrize("served_by", [None, str(os.getppid())])
def test_a_worker_that_is_not_to_stop_stays(
    context: Any, monkeypatch: pytest.MonkeyPatch, served_by: str | None
) -> None:
    if served_by is not None:
        monkeypatch.setenv(SERVED_BY, served_by)
    assert not ends(context, 0.5)
