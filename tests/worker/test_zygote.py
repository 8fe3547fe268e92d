"""The warm process: jobs run, are stopped at their limits, and leave nothing behind."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from lintsvc_worker import child
from lintsvc_worker.zygote_client import ChildLimits, Ended, ZygoteClient
from parts import bent_solids
from parts.service_parts import box_stl

LIMITS = ChildLimits(seconds=20, step_seconds=3, memory_bytes=200 << 20, file_bytes=10 << 20)


def run(
    zygote: ZygoteClient,
    folder: Path,
    length: float,
    *,
    without: dict[str, str] | None = None,
    limits: ChildLimits = LIMITS,
    tick: Any = lambda: True,
) -> tuple[Ended, list[dict[str, Any]]]:
    folder.mkdir(exist_ok=True)
    (folder / "part").write_bytes(box_stl(length, 20, 20))
    said: list[dict[str, Any]] = []
    job = {"task": "check", "name": "part.stl", "choices": {}, "without": without or {}}
    return zygote.run(job, folder, limits, said.append, tick), said


def test_job_leaves_a_report_and_tells_its_steps(zygote: ZygoteClient, tmp_path: Path) -> None:
    ended, said = run(zygote, tmp_path, 20)
    assert ended.how == "done"
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["part"]["size_mm"] == [20, 20, 20]
    # Whoever watches hears of a step now and then, where there is time to; the file has every one.
    steps = (tmp_path / "steps").read_text().split()
    assert (steps[0], steps[-1]) == ("read", "write")
    assert "soundness/open-edge" in steps
    assert [x["step"] for x in said if "step" in x] == [x for x in steps if x in {y.get("step") for y in said}]


@pytest.mark.parametrize(
    ("length", "rule", "how"),
    [(1001, "crash", "crash"), (1002, "loop", "step"), (1003, "eat", "memory"), (1005, "leave", "done")],
)
def test_rule_that_takes_the_child_down_is_named(
    zygote: ZygoteClient, tmp_path: Path, length: float, rule: str, how: str
) -> None:
    ended, _ = run(zygote, tmp_path, length)
    assert (ended.how, ended.step) == (how, f"unruly/{rule}")
    assert not (tmp_path / "report.json").exists()


def test_file_is_checked_without_a_lost_rule_and_says_so(zygote: ZygoteClient, tmp_path: Path) -> None:
    ended, _ = run(zygote, tmp_path, 1001, without={"unruly/crash": "the rule failed: it crashed"})
    assert ended.how == "done"
    report = json.loads((tmp_path / "report.json").read_text())
    assert {"rule": "unruly/crash", "why": "the rule failed: it crashed", "failed": True} in report["not_checked"]
    assert "unruly/raise" in report["checked"]


def test_rule_that_raises_loses_only_itself(zygote: ZygoteClient, tmp_path: Path) -> None:
    ended, _ = run(zygote, tmp_path, 1004)
    assert ended.how == "done"
    report = json.loads((tmp_path / "report.json").read_text())
    assert [x["rule"] for x in report["not_checked"] if x.get("failed")] == ["unruly/raise"]


def test_wall_time_of_the_whole_file_is_limited(zygote: ZygoteClient, tmp_path: Path) -> None:
    limits = ChildLimits(seconds=1, step_seconds=60, memory_bytes=200 << 20, file_bytes=1 << 20)
    ended, _ = run(zygote, tmp_path, 1002, limits=limits)
    assert ended.how == "time"


def test_job_stops_when_its_watcher_says_so(zygote: ZygoteClient, tmp_path: Path) -> None:
    ended, _ = run(zygote, tmp_path, 1006, tick=lambda: False)
    assert ended.how == "killed"


def test_jobs_run_beside_each_other(zygote: ZygoteClient, tmp_path: Path) -> None:
    results: list[str] = []
    threads = [
        threading.Thread(target=lambda n=n: results.append(run(zygote, tmp_path / str(n), 10 + n)[0].how))
        for n in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert results == ["done"] * 8


def children_of(pid: int) -> list[int]:
    return [int(x) for x in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def in_the_middle(zygote: ZygoteClient, folder: Path, do: Callable[[], None]) -> Ended:
    """How a job ended that something was done to while a rule held it."""
    ended: list[Ended] = []
    limits = ChildLimits(60, 60, 200 << 20, 1 << 20)
    thread = threading.Thread(target=lambda: ended.append(run(zygote, folder, 1007, limits=limits)[0]))
    thread.start()
    steps = folder / "steps"
    while not (steps.exists() and "unruly/poison" in steps.read_text()):
        assert thread.is_alive()
        time.sleep(0.01)
    do()
    thread.join(60)
    return ended[0]


def test_child_that_has_nothing_more_to_say_is_not_listened_to_in_vain(zygote: ZygoteClient, tmp_path: Path) -> None:
    seen: list[str] = []

    def look() -> bool:
        steps = tmp_path / "steps"
        if steps.exists() and steps.read_text().endswith("unruly/silent\n"):
            for _ in range(20):
                seen.append(Path(f"/proc/{zygote.pids[0]}/stat").read_text().rpartition(")")[2].split()[0])
                time.sleep(0.005)
        return True

    run(zygote, tmp_path, 1008, tick=look)
    # The child has closed its end of the pipe, and sleeps. A process that looks at it all the time is never asleep.
    assert seen.count("S") > len(seen) / 2 > 10


def test_killed_warm_process_is_told_and_replaced(zygote: ZygoteClient, tmp_path: Path) -> None:
    first, second = zygote.pids
    assert in_the_middle(zygote, tmp_path / "a", lambda: os.kill(first, signal.SIGKILL)).how == "gone"
    ended, _ = run(zygote, tmp_path / "b", 20)
    assert ended.how == "done"
    assert not {first, second} & set(zygote.pids)
    assert not Path(f"/proc/{second}").exists()


def test_killed_child_is_told_apart_from_a_crash(zygote: ZygoteClient, tmp_path: Path) -> None:
    first, second = zygote.pids

    def kill_child() -> None:
        (child,) = [x for x in children_of(first) if x != second]
        os.kill(child, signal.SIGKILL)

    ended = in_the_middle(zygote, tmp_path / "a", kill_child)
    assert (ended.how, ended.code) == ("crash", -signal.SIGKILL)


def test_solid_is_checked_by_the_process_that_has_the_kernel(zygote: ZygoteClient, tmp_path: Path) -> None:
    offset = next(x for x in bent_solids.PARTS if x.name == "offset")
    step = bent_solids.written(offset.make(), tmp_path / "offset.step").read_bytes()
    (tmp_path / "part").write_bytes(step)
    assert child.may_be_solid(tmp_path / "part")
    job = {"task": "check", "name": "offset.step", "choices": {}, "without": {}, "solid": True}
    first, second = zygote.pids
    # Its death costs nobody anything; both are started anew when it is wanted.
    os.kill(second, signal.SIGKILL)
    ended, _ = run(zygote, tmp_path / "mesh", 20)
    assert ended.how == "done"
    assert zygote.pids == (first, second)
    parents: set[int] = set()

    def look() -> bool:
        parents.update(x for x in zygote.pids if set(children_of(x)) - {zygote.pids[1]})
        return True

    # That it is dead is told by the thread that listens to it.
    while zygote.pids == (first, second):
        job_ended = zygote.run(job, tmp_path, ChildLimits(60, 60, 1 << 30, 1 << 26), lambda _: None, look)
        (tmp_path / "steps").unlink(missing_ok=True)
    assert job_ended.how == "done"
    assert parents == {zygote.pids[1]}


@pytest.mark.parametrize(("data", "solid"), [
    (b"ISO-10303-21;\nHEADER;", True), (b"/* made by hand */ ISO-10303-21;", True),
    ("ISO-10303-21;".encode("utf-16"), True), (b"solid x", False), (b"", False),
])  # fmt: skip
def test_what_may_be_a_solid_is_told_by_its_head(tmp_path: Path, data: bytes, solid: bool) -> None:
    (tmp_path / "part").write_bytes(data)
    assert child.may_be_solid(tmp_path / "part") is solid


def test_warm_process_ends_with_its_parent_while_it_loads_and_packs_may_print(tmp_path: Path) -> None:
    packs = tmp_path / "packs" / "slow"
    packs.mkdir(parents=True)
    (packs / "pack.toml").write_text('name = "slow"\ntitle = "T"\nsummary = "S"\n')
    # It loads until somebody makes a file: the test ends it by the death of the one that started it.
    (packs / "wait.py").write_text(
        "import os, time\n"
        f"print('no message', flush=True)\nopen({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid()))\n"
        f"while not os.path.exists({str(tmp_path / 'go')!r}): time.sleep(0.01)\n"
    )
    code = (
        "import sys; from lintsvc_worker.zygote_client import ZygoteClient\n"
        f"ZygoteClient({{'LINTSVC_RULE_CODE': 'on', 'LINTSVC_RULES': {str(packs.parent)!r}}}).start()"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    worker = subprocess.Popen([sys.executable, "-c", code], env=env)
    while not (tmp_path / "pid").exists() or not (tmp_path / "pid").read_text():
        assert worker.poll() is None
        time.sleep(0.01)
    pid = int((tmp_path / "pid").read_text())
    worker.kill()
    worker.wait()
    # It would look for the file for ever.
    while Path(f"/proc/{pid}").exists() and Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z":
        time.sleep(0.01)


def test_nothing_outlives_the_warm_process(zygote: ZygoteClient, tmp_path: Path) -> None:
    zygote.start()
    pids = zygote.pids
    assert in_the_middle(zygote, tmp_path / "s", zygote.stop).how in ("gone", "killed", "crash")
    assert [x for x in pids if Path(f"/proc/{x}").exists()] == []
