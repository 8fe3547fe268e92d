"""A check whose worker has no room, or no warm process, waits; that is no death, and costs the file nothing."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from lintsvc_worker.check_run import Following, run_check
from lintsvc_worker.measured import MeasuredShelf
from lintsvc_worker.zygote_client import CannotLoadAll, CannotWarmUp, Ended

from lintsvc.settings import Settings
from lintsvc.store import checks, claims, keeping
from lintsvc.store.accept import NewCheck, Quota, create_check
from lintsvc.store.assemble import assemble_report
from lintsvc.store.blobs import FolderBlobs
from lintsvc.store.checks import FileOf
from lintsvc.store.database import Database
from lintsvc.store.logs import request_id

TERMS = claims.Terms(10.0, 2)


class Worker:
    """A worker's context whose warm process does what the test says."""

    def __init__(self, folder: Path, run: Callable[..., Ended]) -> None:
        self.db = Database(f"sqlite:///{folder / 'records.sqlite3'}")
        self.db.migrate()
        self.blobs = FolderBlobs(folder / "blobs")
        self.settings = Settings(state=folder)
        self.told: list[str] = []
        self.events = SimpleNamespace(publish=lambda _, happened: self.told.extend(x for x, _ in happened))
        self.forgotten: list[str] = []
        self.redis = SimpleNamespace(delete=self.forgotten.append)
        self.tally = SimpleNamespace(count=lambda *_, **__: None, measure=lambda *_, **__: None)
        self.zygote = SimpleNamespace(run=run)
        self.measured = MeasuredShelf(folder / "measured")
        self.version = "1"
        self.stopping = threading.Event()

    def take(self) -> claims.Claim:
        source = self.settings.state / "source"
        source.write_bytes(b"solid x")
        sources = keeping.Sources(self.blobs)
        sources.add("a" * 64, source)
        wanted = NewCheck("", {}, [FileOf(0, "a.stl", "a" * 64, 7)], request="traced")
        create_check(self.db, wanted, Quota(1000, 10), sources.assure)
        claim = claims.claim_next(self.db, lease_seconds=10.0, deaths=2)
        assert claim is not None
        return claim


def fails(error: Exception) -> Callable[..., Ended]:
    def run(*_: Any, **__: Any) -> Ended:
        raise error

    return run


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), CannotWarmUp("no memory")])
def test_check_waits_while_the_worker_cannot_work(tmp_path: Path, error: Exception) -> None:
    worker: Any = Worker(tmp_path, fails(error))
    for _ in range(3):
        claim = worker.take() if not worker.told else claims.claim_next(worker.db, lease_seconds=10.0, deaths=2)
        # Never given up on: nobody died of the file.
        assert claim is not None and not claim.give_up
        assert run_check(worker, claim, Following(TERMS, False, lambda: True)) is None
        found = checks.read_check(worker.db, claim.check.id)
        assert found is not None and found.state == "queued"
        assert list(worker.settings.scratch.iterdir()) == []
        assert request_id.get() == "traced"
    worker.db.dispose()


def test_check_that_no_worker_can_load_for_ends_in_a_report_that_says_so(tmp_path: Path) -> None:
    worker: Any = Worker(tmp_path, fails(CannotLoadAll()))
    claim = worker.take()
    assert run_check(worker, claim, Following(TERMS, False, lambda: False)) is None
    # Another worker may be better off.
    assert read(worker, claim).state == "queued"
    claim = claims.claim_next(worker.db, lease_seconds=10.0, deaths=2)
    assert run_check(worker, claim, Following(TERMS, False, lambda: False)) is None
    found = read(worker, claim)
    assert found.state == "done"
    (part,) = assemble_report(worker.db, worker.blobs, found.files)["parts"]
    assert "cannot be loaded" in part["unreadable"]["why"]
    assert part["not_checked"][0]["failed"]
    # Nobody else is given this report for the same file.
    assert found.files[0].result != checks.result_key("a" * 64, {}, worker.version)
    worker.db.dispose()


def read(worker: Any, claim: Any) -> checks.Check:
    found = checks.read_check(worker.db, claim.check.id)
    assert found is not None
    return found


def test_what_a_dead_child_said_last_is_logged_with_its_request(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    def run(job: Any, folder: Path, *_: Any) -> Ended:
        (folder / "log").write_text("Traceback: out of luck\n")
        return Ended("crash", step="measure", code=72)

    worker: Any = Worker(tmp_path, run)
    claim = worker.take()
    assert run_check(worker, claim, Following(TERMS, False, lambda: False)) is None
    assert "Traceback: out of luck" in caplog.text
    found = checks.read_check(worker.db, claim.check.id)
    assert found is not None and found.state == "done"
    assert worker.told[-1] == "state"
    worker.db.dispose()


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e999"])
def test_number_that_is_none_is_never_stored_or_told(tmp_path: Path, number: str) -> None:
    def run(_: Any, folder: Path, __: Any, says: Callable[[dict[str, Any]], None], ___: Any) -> Ended:
        says({"step": "measure", "percent": float(number)})
        (folder / "report.json").write_text(f'{{"findings": [], "not_checked": [], "seconds": {{"read": {number}}}}}')
        (folder / "places.json").write_text("{}")
        return Ended("done")

    worker: Any = Worker(tmp_path, run)
    percents: list[Any] = []
    worker.events.publish = lambda _, told: percents.extend(x["percent"] for name, x in told if name == "step")
    worker.redis.delete = lambda *_: None
    claim: Any = worker.take()
    while claim is not None:
        run_check(worker, claim, Following(TERMS, False, lambda: False))
        last, claim = claim, claims.claim_next(worker.db, lease_seconds=10.0, deaths=2)
    found = read(worker, last)
    # Given up, or not finished: either way the report says so, and can be read.
    assert found.state in ("done", "failed")
    report = json.dumps(assemble_report(worker.db, worker.blobs, found.files), allow_nan=False)
    assert "unreadable" in report
    assert set(percents) <= {0.0}
    worker.db.dispose()


def test_nothing_stays_told_of_a_check_that_was_deleted_meanwhile(tmp_path: Path) -> None:
    def run(_: Any, __: Path, ___: Any, says: Callable[[dict[str, Any]], None], tick: Callable[[], bool]) -> Ended:
        says({"step": "measure", "percent": 10.0})
        checks.delete_checks(worker.db, [claim.check.id])
        worker.beat = lambda *_: "lost"
        while tick():
            pass
        return Ended("killed")

    worker: Any = Worker(tmp_path, run)
    worker.settings = Settings(state=tmp_path, lease_seconds=0.0)
    claim = worker.take()
    assert run_check(worker, claim, Following(TERMS, False, lambda: False)) is None
    assert worker.forgotten == [f"lintsvc:check:{claim.check.id}"]
    worker.db.dispose()
