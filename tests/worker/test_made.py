"""What a child makes when it is asked for: the bytes, the child's own reason for none, or a failure that is said."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from lintsvc_worker.made import Made, make_in_child, store_made
from lintsvc_worker.order_run import _Watch
from lintsvc_worker.zygote_client import CannotWarmUp, ChildLimits, Ended

from lintsvc.store import keeping
from lintsvc.store.blobs import FolderBlobs
from lintsvc.store.database import Database

LIMITS = ChildLimits(seconds=60, step_seconds=7, memory_bytes=300 << 20, file_bytes=1 << 20)


def make(folder: Path, run: Callable[..., Ended]) -> Made:
    context: Any = SimpleNamespace(zygote=SimpleNamespace(run=run))
    return make_in_child(context, {"task": "render"}, folder, LIMITS, "a picture")


def test_what_the_child_wrote_is_read(tmp_path: Path) -> None:
    def run(*_: Any) -> Ended:
        (tmp_path / "made").write_bytes(b"bytes")
        return Ended("done")

    assert make(tmp_path, run) == Made(b"bytes")


def test_childs_reason_for_nothing_is_no_failure(tmp_path: Path) -> None:
    def run(_: Any, __: Any, ___: Any, says: Callable[[dict[str, Any]], None], ____: Any) -> Ended:
        says({"step": "read"})
        says({"nothing": "a flat has no wall"})
        says({"nothing": "and more"})
        return Ended("done")

    assert make(tmp_path, run) == Made(None, "a flat has no wall")


@pytest.mark.parametrize(
    ("ended", "why"),
    [
        (Ended("step"), "longer than 7 s"),
        (Ended("time"), "longer than 60 s"),
        (Ended("memory"), "more than 300 MiB"),
        (Ended("threads"), "many threads"),
        (Ended("files"), "wrote too much"),
        (Ended("crash", code=-11), "crashed"),
        # It ended well and left nothing, or something that is no plain file: nobody waits for it for ever.
        (Ended("done"), "crashed"),
    ],
)
def test_lost_child_is_a_failure_with_its_reason_and_last_words(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, ended: Ended, why: str
) -> None:
    (tmp_path / "log").write_text("said at the end")
    (tmp_path / "made").symlink_to("/etc/hostname")
    with caplog.at_level(logging.ERROR):
        made = make(tmp_path, lambda *_: ended)
    assert made.data is None and made.failed
    assert why in made.reason
    assert "a picture" in caplog.text and "said at the end" in caplog.text


def test_what_is_not_wanted_any_more_is_no_error_in_the_log(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    assert make(tmp_path, lambda *_: Ended("killed")).failed
    assert caplog.text == ""


def test_process_that_does_not_start_is_a_failure(tmp_path: Path) -> None:
    def run(*_: Any) -> Ended:
        raise CannotWarmUp("no memory")

    made = make(tmp_path, run)
    assert made == Made(None, "it could not be made: no memory", failed=True)


def test_second_of_two_that_made_the_same_leaves_nothing(tmp_path: Path) -> None:
    db = Database(f"sqlite:///{tmp_path / 'records.sqlite3'}")
    db.migrate()
    context: Any = SimpleNamespace(db=db, blobs=FolderBlobs(tmp_path / "blobs"))
    large = bytes(range(256)) * 2000
    for data in (large, large[::-1]):
        store_made(context, "result/x", {"geometry": data}, tmp_path)
    kept = keeping.find_artefact(db, "result/x", "geometry")
    assert kept is not None
    with keeping.open_artefact(context.blobs, kept) as file:
        assert file.read() == large
    assert len([x for x in (tmp_path / "blobs").rglob("*") if x.is_file()]) == 1
    db.dispose()


@pytest.mark.parametrize("percent", ["much", None, [], -1, 1e9, float("nan")])
def test_progress_that_is_none_is_not_passed_on(percent: Any) -> None:
    told: dict[str, str] = {}
    redis = SimpleNamespace(set=lambda key, value, **_: told.update({key: value}))
    context: Any = SimpleNamespace(redis=redis, db=None)
    watch = _Watch(context, "an order", "order.json")
    watch.says({"step": "x" * 500, "percent": percent})
    watch.begin()
    assert list(told.values()) == ['{"step": "start", "percent": 0.0}']
    watch.says({"step": "x" * 500, "percent": 40})
    watch.begin()
    assert list(told.values()) == [f'{{"step": "{"x" * 128}", "percent": 40.0}}']
