"""The second warm process that does not load: tried once more, then left alone for a while; the first works on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from lintsvc_worker import zygote_client
from lintsvc_worker.zygote_client import CannotLoadAll, ChildLimits, Ended, ZygoteClient

#: Two processes that speak as the warm ones do, and have no more to load than a file: whether the second gets ready.
PRETENDED = """
import json, os, sys
well, second_in, second_out = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
def say(out, **message):
    os.write(out, json.dumps(message).encode() + b"\\n")
def serve(take, give):
    for line in os.fdopen(take):
        say(give, event="exit", id=json.loads(line)["id"], how="done")
pid = os.fork()
if pid:
    os.close(second_in), os.close(second_out)
    say(1, event="ready", version="1", bytes=0, second=pid)
    serve(0, 1)
    os.waitpid(pid, 0)
else:
    os.close(0), os.close(1)
    if os.path.exists(well) and open(well).read() == "slow":
        os.read(second_in, 1)
    elif os.path.exists(well):
        say(second_out, event="ready", bytes=0)
        serve(second_in, second_out)
    os._exit(1)
"""
LIMITS = ChildLimits(10, 10, 1 << 20, 1 << 20)


@pytest.fixture
def well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """While this file is there, the second process gets ready."""
    program = tmp_path / "pretended.py"
    program.write_text(PRETENDED)
    monkeypatch.setattr(zygote_client, "PROGRAM", [sys.executable, str(program), str(tmp_path / "well")])
    return tmp_path / "well"


@pytest.fixture
def told() -> list[tuple[str, str]]:
    """What is counted."""
    return []


@pytest.fixture
def client(well: Path, told: list[tuple[str, str]]) -> Iterator[ZygoteClient]:
    made = ZygoteClient(loaded=lambda of, outcome: told.append((of, outcome)))
    made.start()
    yield made
    made.stop()


def run(client: ZygoteClient, *, solid: bool) -> Ended:
    job = {"task": "check", "name": "part", "choices": {}, "solid": solid}
    return client.run(job, Path(), LIMITS, lambda _: None, lambda: True)


def until_refused(client: ZygoteClient) -> int:
    """Send jobs that need all until they are refused; return how many were taken, and lost."""
    for taken in range(100):
        try:
            assert run(client, solid=True).how == "gone"
        except CannotLoadAll:
            return taken
    raise AssertionError("it is started again and again")


def later(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    now: Callable[[], float] = zygote_client.time.monotonic
    monkeypatch.setattr(zygote_client.time, "monotonic", lambda: now() + seconds)


def test_process_that_does_not_load_is_not_started_for_every_job(
    client: ZygoteClient, told: list[tuple[str, str]], caplog: pytest.LogCaptureFixture
) -> None:
    until_refused(client)
    # Once at the start and once again; each try starts both.
    assert told.count(("all", "failed")) == told.count(("checks", "ready")) == 2
    first = client.pids[0]
    for _ in range(20):
        with pytest.raises(CannotLoadAll, match="cannot be loaded"):
            run(client, solid=True)
        # Meshes and drawings are checked all the same, by the same process.
        assert run(client, solid=False).how == "done"
    assert client.pids[0] == first
    assert told.count(("all", "failed")) == 2
    assert "ended while it was loading" in caplog.text


def test_it_is_tried_again_more_and_more_seldom_and_used_when_it_loads(
    client: ZygoteClient, well: Path, told: list[tuple[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    until_refused(client)
    later(monkeypatch, 31)
    assert until_refused(client) <= 1
    assert told.count(("all", "failed")) == 3
    later(monkeypatch, 31)
    assert until_refused(client) == 0
    well.write_text("")
    later(monkeypatch, 30)
    assert run(client, solid=True).how == "done"
    # Each is told by who listens to it: which comes first is open.
    assert set(told[-2:]) == {("checks", "ready"), ("all", "ready")}
    # What it had before is forgotten: should it die, it is started again at once.
    assert run(client, solid=True).how == "done"


def test_process_that_is_asked_to_leave_while_it_loads_has_not_failed(well: Path, told: list[tuple[str, str]]) -> None:
    well.write_text("slow")
    client = ZygoteClient(loaded=lambda of, outcome: told.append((of, outcome)))
    client.start()
    client.renew()
    client.stop()
    assert told == [("checks", "ready")] * 2
