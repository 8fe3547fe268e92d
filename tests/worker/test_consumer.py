"""The worker looks whether it is to stop while it waits for calls, and then waits for none."""

from __future__ import annotations

from typing import Any

import pytest
from celery.worker import state
from celery.worker.consumer import Consumer
from lintsvc_worker.consumer import BriskConsumer


@pytest.fixture
def waited() -> list[float]:
    """How long the connection was waited at each time."""
    return []


@pytest.fixture
def connection(waited: list[float], monkeypatch: pytest.MonkeyPatch) -> Any:
    """The connection that Celery's loop is given."""

    class Connection:
        connected = True

        def drain_events(self, timeout: float) -> None:
            waited.append(timeout)

    monkeypatch.setattr(Consumer, "loop_args", lambda _: ("consumer", Connection(), "tasks"))
    consumer, given, tasks = BriskConsumer.loop_args(BriskConsumer.__new__(BriskConsumer))
    assert (consumer, tasks) == ("consumer", "tasks")
    assert given.connected
    return given


def test_calls_are_waited_for_in_short_looks(connection: Any, waited: list[float]) -> None:
    connection.drain_events(timeout=2.0)
    connection.drain_events(timeout=0.1)
    assert 0 < waited[0] < 1
    assert waited[1] == 0.1


@pytest.mark.parametrize("told", ["should_stop", "should_terminate"])
def test_nothing_is_waited_for_once_it_is_to_stop(
    connection: Any, waited: list[float], monkeypatch: pytest.MonkeyPatch, told: str
) -> None:
    monkeypatch.setattr(state, told, 0)
    connection.drain_events(timeout=2.0)
    assert waited == [0.0]
