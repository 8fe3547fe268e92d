"""Whatever dies, every accepted upload ends in exactly one report. The long form is in bench/faults.py."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from parts.service_parts import box_stl
from service.running import Running, end, processes_of
from sqlalchemy import func, select
from worker.packs import write_unruly

from lintsvc.store.database import Database
from lintsvc.store.tables import check_files, checks

FAST = {"LINTSVC_LEASE_SECONDS": "3", "LINTSVC_RESEND_SECONDS": "1", "LINTSVC_STOP_SECONDS": "1",
        "LINTSVC_STEP_SECONDS": "8", "LINTSVC_MEMORY_MIB": "400", "LINTSVC_REQUESTS_A_MINUTE": "0"}  # fmt: skip


@pytest.fixture
def running(state: Path, tmp_path: Path) -> Iterator[Running]:
    """A service of this test's own, quick to notice deaths, with the unruly pack."""
    service = Running(state, {**FAST, "LINTSVC_RULES": str(write_unruly(tmp_path / "packs"))}).start()
    try:
        service.wait_ready()
        yield service
    finally:
        service.stop()
        assert processes_of(state) == []


def pids(state: Path, word: bytes) -> list[int]:
    """Processes of this service whose command line has the word."""
    found = []
    for pid in processes_of(state):
        with contextlib.suppress(OSError):
            if word in Path(f"/proc/{pid}/cmdline").read_bytes():
                found.append(pid)
    return found


def children(state: Path) -> list[int]:
    """Fenced children at work."""
    found: list[int] = []
    for pid in pids(state, b"lintsvc_worker.zygote"):
        with contextlib.suppress(OSError):
            found += [int(x) for x in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    return found


def worker(state: Path) -> list[int]:
    return [x for x in pids(state, b"lintsvc_worker") if x not in pids(state, b"zygote")]


def redis(state: Path) -> list[int]:
    with contextlib.suppress(OSError, ValueError):
        return [int((state / "redis" / "redis.pid").read_text())]
    return []


VICTIMS: dict[str, Callable[[Path], list[int]]] = {"worker": worker, "child": children, "redis": redis}


def kill(found: list[int]) -> int:
    for pid in found:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    return len(found)


def ended_once(running: Running, ids: list[str], seconds: float = 120.0) -> None:
    """Every check is done, with one result for each file, and none is there twice."""
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    ends = time.monotonic() + seconds
    left = -1
    while time.monotonic() < ends:
        with db.reading() as connection:
            left = connection.execute(
                select(func.count()).select_from(checks).where(checks.c.state.in_(("queued", "running")))
            ).scalar_one()
        if left == 0:
            break
        time.sleep(0.2)
    assert left == 0, f"{left} do not end\n{running.words()}"
    with db.reading() as connection:
        rows = connection.execute(select(checks.c.id, checks.c.state)).all()
        files = connection.execute(select(check_files.c.check_id, check_files.c.result)).all()
    db.dispose()
    assert sorted(x.id for x in rows) == sorted(ids)
    assert {x.state for x in rows} == {"done"}, running.words()
    assert len(files) == len(ids)
    assert all(x.result for x in files)
    for check_id in ids:
        report = running.get(f"/api/v1/checks/{check_id}/report.json")
        assert report.status == 200
        assert len(report.json["parts"]) == 1
        assert "unreadable" not in report.json["parts"][0]


@pytest.mark.parametrize("victim", VICTIMS)
def test_killing_it_again_and_again_loses_and_doubles_nothing(running: Running, victim: str) -> None:
    ids: list[str] = []
    dice = random.Random(17)
    stop = threading.Event()
    killed = 0

    def killer() -> None:
        nonlocal killed
        while not stop.wait(dice.uniform(0.2, 0.9)):
            # A worker that is still starting is left alone: a file is given up after two deaths.
            if victim != "worker" or killed < 4:
                killed += kill(VICTIMS[victim](running.state))

    thread = threading.Thread(target=killer)
    thread.start()
    try:
        for number in range(30):
            answer = running.send([(f"{number}.stl", box_stl(30 + number, 20, 20, seed=1.0))], wait=0)
            assert answer.status == 202, answer.body
            ids.append(answer.json["id"])
            time.sleep(0.1)
    finally:
        stop.set()
        thread.join()
    assert killed >= 2
    ended_once(running, ids)


def test_killed_web_process_keeps_what_it_accepted(state: Path) -> None:
    running = Running(state, FAST).start()
    try:
        running.wait_ready()
        ids = []
        for round_ in range(3):
            for number in range(8):
                answer = running.send([(f"{number}.stl", box_stl(10 + number, 20 + round_, 7))], wait=0)
                assert answer.status == 202
                ids.append(answer.json["id"])
            running.kill()
            ends = time.monotonic() + 20
            while processes_of(state) and time.monotonic() < ends:
                time.sleep(0.1)
            # Nobody is left behind by a sudden death.
            assert processes_of(state) == []
            running = Running(state, FAST).start()
        running.wait_ready()
        ended_once(running, ids)
    finally:
        running.stop()


def test_file_that_kills_workers_is_given_up_with_a_report(running: Running) -> None:
    check = running.send([("poison.stl", box_stl(1007, 20, 20))], wait=0).json
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    deaths = 0
    ends = time.monotonic() + 90
    while time.monotonic() < ends:
        with db.reading() as connection:
            row = connection.execute(select(checks.c.state, checks.c.attempts)).one()
        if row.state not in ("queued", "running"):
            break
        # One death for each time that a worker took it.
        if row.state == "running" and row.attempts > deaths and children(running.state):
            deaths += kill(worker(running.state))
        time.sleep(0.1)
    db.dispose()
    now = running.get(f"/api/v1/checks/{check['id']}").json
    assert now["state"] == "failed", running.words()
    assert deaths == 2
    part = now["report"]["parts"][0]
    assert "given up" in part["unreadable"]["why"]
    assert now["problem"]
    # It is not in the way of others.
    assert running.check("next.stl", box_stl(20, 20, 20))["state"] == "done"


@pytest.mark.parametrize(("length", "rule"), [(1001, "crash"), (1002, "loop"), (1003, "eat")])
def test_unruly_rule_loses_only_itself(running: Running, length: float, rule: str) -> None:
    check = running.check("part.stl", box_stl(length, 20, 20))
    part = check["report"]["parts"][0]
    assert [x["rule"] for x in part["not_checked"] if x.get("failed")] == [f"unruly/{rule}"]
    assert "soundness/open-edge" in part["checked"]
    assert check["state"] == "done"
    # Such a result is this check's alone: the next try may fare better.
    again = running.send([("part.stl", box_stl(length, 20, 20))], wait=0)
    assert again.json["state"] == "queued"
    running.request("DELETE", f"/api/v1/checks/{again.json['id']}")


def test_uploads_are_taken_while_redis_is_away(running: Running) -> None:
    assert kill(redis(running.state)) == 1
    answers = [running.send([(f"{n}.stl", box_stl(20, 30 + n, 20))], wait=0) for n in range(5)]
    assert [x.status for x in answers] == [202] * 5
    ended_once(running, [x.json["id"] for x in answers])


def test_running_check_can_be_cancelled_and_deleted(running: Running) -> None:
    check = running.send([("hold.stl", box_stl(1007, 20, 20))], wait=0).json
    ends = time.monotonic() + 30
    while running.get(f"/api/v1/checks/{check['id']}").json["state"] != "running":
        assert time.monotonic() < ends
        time.sleep(0.1)
    assert running.request("POST", f"/api/v1/checks/{check['id']}/cancel").status == 202
    assert end(check, running)["state"] == "cancelled"
    assert running.request("POST", f"/api/v1/checks/{check['id']}/cancel").status == 409
    second = running.send([("hold.stl", box_stl(1007, 21, 20))], wait=0).json
    while not children(running.state):
        time.sleep(0.05)
    assert running.request("DELETE", f"/api/v1/checks/{second['id']}").status == 204
    ends = time.monotonic() + 15
    while children(running.state):
        assert time.monotonic() < ends, "the child of a deleted check goes on"
        time.sleep(0.1)


def test_stop_hands_back_what_runs(state: Path, tmp_path: Path) -> None:
    environment = {**FAST, "LINTSVC_RULES": str(write_unruly(tmp_path / "packs")), "LINTSVC_STEP_SECONDS": "60"}
    running = Running(state, environment).start()
    running.wait_ready()
    check = running.send([("hold.stl", box_stl(1007, 20, 20))], wait=0).json
    while running.get(f"/api/v1/checks/{check['id']}").json["state"] != "running":
        time.sleep(0.1)
    time.sleep(0.5)
    started = time.monotonic()
    assert running.stop() == 0
    assert time.monotonic() - started < 12
    assert processes_of(state) == []
    db = Database(f"sqlite:///{state / 'records.sqlite3'}")
    with db.reading() as connection:
        row = connection.execute(select(checks.c.state, checks.c.attempts)).one()
    db.dispose()
    assert (row.state, row.attempts) == ("queued", 0)


def test_second_service_on_the_same_folder_is_refused(running: Running) -> None:
    with pytest.raises(RuntimeError, match="another lintsvc serves"):
        Running(running.state, FAST).start()
