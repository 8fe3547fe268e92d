"""What a child may not use, have or see, beyond what `test_fence` tries: seen through the warm process."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import pytest
from lintsvc_worker.zygote_client import ChildLimits, Ended, ZygoteClient
from parts.service_parts import box_stl
from worker.packs import write_unruly

from lintsvc.store.stray import remove_folder

LIMITS = ChildLimits(seconds=60, step_seconds=30, memory_bytes=200 << 20, file_bytes=10 << 20)


def run(zygote: ZygoteClient, folder: Path, length: float, said: list[dict[str, Any]] | None = None) -> Ended:
    folder.mkdir(exist_ok=True)
    (folder / "part").write_bytes(box_stl(length, 20, 20))
    job = {"task": "check", "name": "part.stl", "choices": {}, "without": {}}
    return zygote.run(job, folder, LIMITS, lambda line: None if said is None else said.append(line), lambda: True)


def reason(folder: Path, rule: str) -> str:
    (found,) = [x["why"] for x in json.loads((folder / "report.json").read_text())["not_checked"] if x["rule"] == rule]
    return str(found)


@pytest.mark.parametrize(
    ("length", "rule", "how"),
    [(1011, "share", "memory"), (1013, "fill", "files"), (1014, "litter", "files"), (1015, "swarm", "threads")],
)
def test_child_that_uses_too_much_is_stopped_by_it(
    zygote: ZygoteClient, tmp_path: Path, length: float, rule: str, how: str
) -> None:
    ended = run(zygote, tmp_path, length)
    assert (ended.how, ended.step) == (how, f"unruly/{rule}")
    # It was found soon, not when the disk or the memory was full.
    assert sum(x.stat().st_size for x in tmp_path.iterdir()) < 1 << 30


def test_memory_that_would_be_counted_for_nobody_is_refused(zygote: ZygoteClient, tmp_path: Path) -> None:
    assert run(zygote, tmp_path, 1012).how == "done"
    assert "no memory to leave" in reason(tmp_path, "unruly/hoard")


def test_folders_deeper_than_python_goes_are_deleted(zygote: ZygoteClient, tmp_path: Path) -> None:
    folder = tmp_path / "scratch"
    run(zygote, folder, 1016)
    assert (folder / "d" / "d").is_dir()
    remove_folder(folder)
    assert not folder.exists()


def test_child_that_says_too_much_is_not_passed_on(zygote: ZygoteClient, tmp_path: Path) -> None:
    said: list[dict[str, Any]] = []
    limits = ChildLimits(seconds=60, step_seconds=2, memory_bytes=200 << 20, file_bytes=10 << 20)
    (tmp_path / "part").write_bytes(box_stl(1019, 20, 20))
    job = {"task": "check", "name": "part.stl", "choices": {}, "without": {}}
    assert zygote.run(job, tmp_path, limits, said.append, lambda: True).how == "step"
    assert 1000 < len(said) < 3000


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ZygoteClient:
    """Warm processes started in a folder, and with another on the search path, that hold what the service keeps; and
    with the keys to its stores."""
    home, checkout = tmp_path / "home", tmp_path / "checkout"
    for folder in (home, checkout):
        (folder / "state" / "incoming").mkdir(parents=True)
    (home / "json.py").write_text("raise SystemExit('loaded from the folder that the service was started in')")
    monkeypatch.chdir(home)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(checkout), *filter(None, sys.path)]))
    for name in ("LINTSVC_DATABASE_URL", "LINTSVC_REDIS_URL", "AWS_SECRET_ACCESS_KEY", "A_SHOPS_OWN_KEY"):
        monkeypatch.setenv(name, "redis://:a-secret@nowhere")
    packs = write_unruly(tmp_path / "packs")
    return ZygoteClient({"LINTSVC_RULE_CODE": "on", "LINTSVC_RULES": str(packs), "LINTSVC_LATER_SECONDS": "100000"})


def test_child_knows_no_key_and_sees_nothing_beside_the_programs(at_home: ZygoteClient, tmp_path: Path) -> None:
    places = [x / y for x in (tmp_path / "home", tmp_path / "checkout") for y in ("", "state")]
    mine = tmp_path / "mine"
    try:
        assert run(at_home, mine, 1017).how == "done"
        told = reason(mine, "unruly/tell")
        assert "LINTSVC_RULES" in told
        assert "a-secret" not in told
        mine = tmp_path / "again"
        mine.mkdir()
        (mine / "part.txt").write_text(" ".join(map(str, [*places, mine])))
        assert run(at_home, mine, 1018).how == "done"
        seen = reason(mine, "unruly/spy")
        assert "part.txt" in seen
        assert "incoming" not in seen and "state" not in seen
    finally:
        at_home.stop()
