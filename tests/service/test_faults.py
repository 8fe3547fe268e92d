"""Whatever dies, every accepted upload ends in exactly one report. The long form is in bench/faults.py."""

from __future__ import annotations

import contextlib
import itertools
import os
import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from lintsvc_worker.zygote import CHILD_NAME
from parts.service_parts import box_stl
from service.running import Running, end, processes_of
from sqlalchemy import func, select
from worker.packs import write_unruly

from lintsvc.store.database import Database
from lintsvc.store.tables import check_files, checks

FAST = {"LINTSVC_LEASE_SECONDS": "3", "LINTSVC_RESEND_SECONDS": "1", "LINTSVC_STOP_SECONDS": "1",
        "LINTSVC_STEP_SECONDS": "8", "LINTSVC_MEMORY_MIB": "400", "LINTSVC_REQUESTS_A_MINUTE": "0"}  # fmt: skip


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A service that is quick to notice deaths, with the unruly pack. It has to live through all tests here."""
    folder = tmp_path_factory.mktemp("faults")
    service = Running(folder / "state", {**FAST, "LINTSVC_RULES": str(write_unruly(folder / "packs"))}).start()
    try:
        service.wait_ready()
        yield service
    finally:
        service.stop()
        assert processes_of(service.state) == []


def pids(state: Path, word: bytes) -> list[int]:
    """Processes of this service whose command line has the word."""
    found = []
    for pid in processes_of(state):
        with contextlib.suppress(OSError):
            if word in Path(f"/proc/{pid}/cmdline").read_bytes():
                found.append(pid)
    return found


def children_of(warm: list[int]) -> list[int]:
    """Fenced children at work. A warm process may be the child of another, so it is the name that counts."""
    found: list[int] = []
    for pid in warm:
        with contextlib.suppress(OSError):
            found += [int(x) for x in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    return [x for x in found if name_of(x) == CHILD_NAME]


def name_of(pid: int) -> str:
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/comm").read_text().strip()
    return ""


def children(state: Path) -> list[int]:
    """Fenced children at work."""
    return children_of(pids(state, b"lintsvc_worker.zygote"))


def worker(state: Path) -> list[int]:
    return [x for x in pids(state, b"lintsvc_worker") if x not in pids(state, b"zygote")]


def redis(state: Path) -> list[int]:
    with contextlib.suppress(OSError, ValueError):
        return [int((state / "redis" / "redis.pid").read_text())]
    return []


def kill(found: list[int], number: int = signal.SIGKILL) -> int:
    hit = 0
    for pid in found:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, number)
            hit += 1
    return hit


def kill_a_child(state: Path) -> bool:
    """Kill what is being checked, in a moment when something is: that may be few thousandths of a second in a tenth."""
    zygotes = pids(state, b"lintsvc_worker.zygote")
    ends = time.monotonic() + 1.0
    while time.monotonic() < ends:
        if kill(children_of(zygotes)):
            return True
        time.sleep(0.001)
    return False


def kill_the_worker(state: Path, poison: str, deaths: int) -> bool:
    """Kill it while it checks the poison, for the next time, and a file that no worker has died of yet."""
    found = worker(state)
    # What stands still cannot take another check between the look and the blow.
    kill(found, signal.SIGSTOP)
    db = Database(f"sqlite:///{state / 'records.sqlite3'}")
    with db.reading() as connection:
        rows = connection.execute(select(checks.c.id, checks.c.attempts).where(checks.c.state == "running")).all()
    db.dispose()
    taken = {x.id: x.attempts for x in rows}
    # A file is given up after two deaths, also one that only was there.
    if taken.pop(poison, 0) == deaths + 1 and set(taken.values()) == {1} and children(state):
        return kill(found) > 0
    kill(found, signal.SIGCONT)
    return False


def kill_redis(state: Path) -> bool:
    return kill(redis(state)) > 0


#: How each is killed, and how often. A file whose child is killed from outside more than three times is given up.
VICTIMS: dict[str, tuple[Callable[[Path], bool], int]] = {
    "child": (kill_a_child, 3),
    "redis": (kill_redis, 5),
}


def unended(running: Running) -> int:
    """How many checks wait or run."""
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    with db.reading() as connection:
        waits = checks.c.state.in_(("queued", "running"))
        left = connection.execute(select(func.count()).select_from(checks).where(waits)).scalar_one()
    db.dispose()
    return int(left)


def ended_once(running: Running, ids: list[str]) -> None:
    """Every check is done, with one result for each file, and none is there twice."""
    until(running, lambda: unended(running) == 0, 300)
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    with db.reading() as connection:
        rows = connection.execute(select(checks.c.id, checks.c.state).where(checks.c.id.in_(ids))).all()
        files = connection.execute(select(check_files.c.result).where(check_files.c.check_id.in_(ids))).all()
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


def state_of(running: Running, check_id: str) -> tuple[str, int]:
    """State of a check, and how often it was taken."""
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    with db.reading() as connection:
        row = connection.execute(select(checks.c.state, checks.c.attempts).where(checks.c.id == check_id)).one()
    db.dispose()
    return row.state, row.attempts


def until(running: Running, holds: Callable[[], bool], seconds: float = 120.0) -> None:
    """Wait for something that is sure to come."""
    ends = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < ends, running.words()
        time.sleep(0.05)


#: So that no file is one that was sent before, whose report is there at once.
SEEDS = itertools.count(1)


def send_while_struck(running: Running, strike: Callable[[], bool], wanted: int, seconds: float = 300.0) -> list[str]:
    """Send files one after another until the blow has fallen so often, however fast or slow this machine is."""
    ids: list[str] = []
    dice, seed = random.Random(17), next(SEEDS)
    stop = threading.Event()
    struck = 0

    def strike_again_and_again() -> None:
        nonlocal struck
        while struck < wanted and not stop.wait(dice.uniform(0.1, 0.6)):
            struck += strike()

    thread = threading.Thread(target=strike_again_and_again)
    thread.start()
    ends = time.monotonic() + seconds
    try:
        while len(ids) < 30 or (struck < wanted and time.monotonic() < ends):
            # While nothing is checked no heap of them is made, which would take its time in the end.
            if len(ids) < 30 or unended(running) < 10:
                box = box_stl(30, 20, 20 + len(ids), seed=seed)
                answer = running.send([(f"{len(ids)}.stl", box)], wait=0)
                assert answer.status == 202, answer.body
                ids.append(answer.json["id"])
            time.sleep(0.1)
    finally:
        stop.set()
        thread.join()
    assert struck == wanted, running.words()
    return ids


@pytest.mark.parametrize("victim", VICTIMS)
def test_killing_it_again_and_again_loses_and_doubles_nothing(running: Running, victim: str) -> None:
    strike, wanted = VICTIMS[victim]
    ended_once(running, send_while_struck(running, lambda: strike(running.state), wanted))


def test_killed_workers_lose_and_double_nothing_and_what_they_died_of_is_given_up_with_a_report(
    running: Running,
) -> None:
    poison = running.send([("poison.stl", box_stl(1007, 20, 20))], wait=0).json["id"]
    deaths = 0

    def strike() -> bool:
        nonlocal deaths
        hit = kill_the_worker(running.state, poison, deaths)
        deaths += hit
        return hit

    ended_once(running, send_while_struck(running, strike, 2))
    found = running.get(f"/api/v1/checks/{poison}").json
    assert found["state"] == "failed", running.words()
    part = found["report"]["parts"][0]
    assert "given up" in part["unreadable"]["why"]
    assert found["problem"]
    # It is not in the way of others.
    assert running.check("next.stl", box_stl(20, 20, 20))["state"] == "done"


def test_killed_web_process_keeps_what_it_accepted(running: Running) -> None:
    ids = []
    for round_ in range(2):
        for number in range(8):
            answer = running.send([(f"{number}.stl", box_stl(10 + number, 20 + round_, 7))], wait=0)
            assert answer.status == 202
            ids.append(answer.json["id"])
        running.kill()
        # Nobody is left behind by a sudden death: in the first round a warm worker, then one that is warming up.
        until(running, lambda: processes_of(running.state) == [])
        running.start()
    ended_once(running, ids)


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
    until(running, lambda: kill(redis(running.state)) == 1)
    answers = [running.send([(f"{n}.stl", box_stl(20, 30 + n, 20))], wait=0) for n in range(5)]
    assert [x.status for x in answers] == [202] * 5
    ended_once(running, [x.json["id"] for x in answers])


def test_running_check_can_be_cancelled_and_deleted(running: Running) -> None:
    check = running.send([("hold.stl", box_stl(1007, 20, 20, seed=2.0))], wait=0).json
    until(running, lambda: state_of(running, check["id"])[0] == "running")
    assert running.request("POST", f"/api/v1/checks/{check['id']}/cancel").status == 202
    assert end(check, running)["state"] == "cancelled"
    assert running.request("POST", f"/api/v1/checks/{check['id']}/cancel").status == 409
    until(running, lambda: children(running.state) == [])
    second = running.send([("hold.stl", box_stl(1007, 21, 20))], wait=0).json
    until(running, lambda: children(running.state) != [])
    assert running.request("DELETE", f"/api/v1/checks/{second['id']}").status == 204
    # The child of a deleted check does not go on.
    until(running, lambda: children(running.state) == [])


def test_second_service_on_the_same_folder_is_refused(running: Running) -> None:
    with pytest.raises(RuntimeError, match="another lintsvc serves"):
        Running(running.state, FAST).start()


def test_stop_hands_back_what_runs(running: Running) -> None:
    check = running.send([("hold.stl", box_stl(1007, 22, 20))], wait=0).json
    until(running, lambda: children(running.state) != [])
    assert running.stop() == 0
    assert processes_of(running.state) == []
    assert state_of(running, check["id"]) == ("queued", 0)
