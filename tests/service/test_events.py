"""Event streams that break and come back, and what is waited for: on a service whose checks stay where they are."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
import redis
from parts.service_parts import box_stl
from service.running import Running

from lintsvc.store.events import KEEP_ENDED_SECONDS, Publisher, stream


@pytest.fixture
def client(idle: Running) -> Iterator[redis.Redis]:
    """The service's Redis."""
    made = redis.Redis(unix_socket_path=str(idle.state / "redis" / "redis.sock"), decode_responses=True)
    yield made
    made.close()


def test_stream_that_broke_goes_on_where_it_was_without_gap_or_double(idle: Running, client: redis.Redis) -> None:
    check = idle.send([("e.stl", box_stl(71, 1, 1))], wait=0).json["id"]
    publisher = Publisher(client)

    def tell(*numbers: int) -> None:
        if numbers:
            publisher.publish(check, [("step", {"percent": x}) for x in numbers])

    tell(0, 1, 2)
    seen: list[tuple[str, int]] = []
    for since in ((), (5, 6), (7,)):
        # What happens while nobody listens is there when somebody does again; the last one that was heard is not.
        tell(*since)
        events = idle.events(check, seen[-1][0] if seen else "")
        for number, event, data in events:
            if event == "step":
                seen.append((number, data["percent"]))
                if data["percent"] == 2:
                    tell(3, 4)
                if data["percent"] in (3, 6):
                    break  # in the middle of what was told at once
                if data["percent"] == 7:
                    assert idle.request("POST", f"/api/v1/checks/{check}/cancel").status == 202
        last = data
        events.close()
    assert [x for _, x in seen] == [0, 1, 2, 3, 4, 5, 6, 7]
    assert last["state"] == "cancelled"
    # Told as it happened, not found at the next look at the records.
    assert [x["data"] for _, x in client.xrange(stream(check))][-1] == '{"state":"cancelled"}'


def test_events_of_what_has_ended_are_kept_for_minutes(client: redis.Redis) -> None:
    publisher = Publisher(client)
    publisher.publish("kept", [("state", {"state": "running"})])
    assert client.ttl(stream("kept")) > KEEP_ENDED_SECONDS
    publisher.publish("kept", [("file", {"file": 0}), ("state", {"state": "done"})])
    assert 0 < client.ttl(stream("kept")) <= KEEP_ENDED_SECONDS


def test_answer_is_held_back_as_long_as_the_client_would_wait(idle: Running) -> None:
    started = time.monotonic()
    answer = idle.send([("w.stl", box_stl(72, 1, 1))], wait=1)
    assert time.monotonic() - started >= 1
    assert (answer.status, answer.json["state"]) == (202, "queued")
    assert answer.headers["preference-applied"] == "wait=1"
