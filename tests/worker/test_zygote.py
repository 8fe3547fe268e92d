"""The warm process: jobs run, are stopped at their limits, and leave nothing behind."""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from lintsvc_worker.zygote_client import ChildLimits, Ended, ZygoteClient
from parts.service_parts import box_stl
from worker.packs import write_unruly

LIMITS = ChildLimits(seconds=20, step_seconds=3, memory_bytes=200 << 20, file_bytes=10 << 20)


@pytest.fixture(scope="module")
def zygote(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ZygoteClient]:
    """A warm process with the unruly pack beside the built-in ones."""
    client = ZygoteClient({"LINTSVC_RULES": str(write_unruly(tmp_path_factory.mktemp("packs")))})
    client.start()
    yield client
    client.stop()


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
    # Whoever watches hears of it now and then; the file has every step.
    assert next(x["step"] for x in said if "step" in x) == "read"
    steps = (tmp_path / "steps").read_text().split()
    assert (steps[0], steps[-1]) == ("read", "write")
    assert "soundness/open-edge" in steps


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
    started = time.monotonic()
    ended, _ = run(zygote, tmp_path, 1002, limits=limits)
    assert ended.how == "time"
    assert time.monotonic() - started < 10


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


def test_killed_warm_process_is_told_and_replaced(zygote: ZygoteClient, tmp_path: Path) -> None:
    before = zygote._process
    assert before is not None
    threading.Timer(1.0, lambda: os.kill(before.pid, signal.SIGKILL)).start()
    ended, _ = run(zygote, tmp_path / "a", 1006)
    assert ended.how == "gone"
    ended, _ = run(zygote, tmp_path / "b", 20)
    assert ended.how == "done"


def test_killed_child_is_told_apart_from_a_crash(zygote: ZygoteClient, tmp_path: Path) -> None:
    def kill_child() -> None:
        assert zygote._process is not None
        children = Path(f"/proc/{zygote._process.pid}/task/{zygote._process.pid}/children").read_text().split()
        os.kill(int(children[0]), signal.SIGKILL)

    threading.Timer(1.5, kill_child).start()
    ended, _ = run(zygote, tmp_path, 1006, limits=ChildLimits(20, 20, 200 << 20, 1 << 20))
    assert (ended.how, ended.code) == ("crash", -signal.SIGKILL)


def test_nothing_outlives_the_warm_process(tmp_path: Path) -> None:
    client = ZygoteClient({"LINTSVC_RULES": str(write_unruly(tmp_path / "packs"))})
    client.start()
    assert client._process is not None
    group = client._process.pid
    results: list[str] = []
    thread = threading.Thread(target=lambda: results.append(run(client, tmp_path / "s", 1006)[0].how))
    thread.start()
    time.sleep(1.0)
    client.stop()
    thread.join(20)
    assert results == ["gone"] or results == ["killed"] or results == ["crash"]
    assert not Path(f"/proc/{group}").exists()
