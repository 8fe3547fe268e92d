"""The clock of the machine is set far ahead, or back: nothing is lost, doubled, kept waiting or deleted for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import redis
from flask import Flask

from lintsvc.settings import Settings
from lintsvc.store import checks, claims, database, shares, tokens, uploads
from lintsvc.store.accept import KeyUsedOtherwise, NewCheck, Quota, create_check
from lintsvc.store.blobs import FolderBlobs
from lintsvc.store.checks import FileOf
from lintsvc.store.claims import FileResult
from lintsvc.store.database import Database
from lintsvc.store.events import Away
from lintsvc.store.sweeping import Sweeper
from lintsvc.web import rates
from lintsvc.web.problems import Problem

MINUTE, HOUR, DAY = 60.0, 3600.0, 86_400.0
NOON = 1_900_000_800.0
TERMS = {"lease_seconds": 10.0, "deaths": 2}


class Clock:
    """The wall clock, as it is set."""

    def __init__(self) -> None:
        self.now = NOON

    def time(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Moves only when a test sets it."""
    made = Clock()
    for module in (database, claims, rates):
        monkeypatch.setattr(module, "time", made)
    return made


@pytest.fixture
def records(tmp_path: Path, clock: Clock) -> Iterator[Database]:
    """Records by that clock. (PostgreSQL's clock cannot be set from a test; the statements are the same.)"""
    db = Database(f"sqlite:///{tmp_path / 'records.sqlite3'}")
    db.migrate()
    yield db
    db.dispose()


def send(db: Database, number: int = 1, **more: str) -> checks.Check:
    file = FileOf(0, f"{number}.stl", f"{number:064x}", 1000)
    return create_check(db, NewCheck("", {}, [file], **more), Quota(1 << 40, 1000))[0]


def read(db: Database, check: checks.Check) -> checks.Check:
    found = checks.read_check(db, check.id)
    assert found is not None
    return found


@pytest.mark.parametrize("leap", [HOUR, 40 * DAY])
def test_running_check_that_is_taken_again_after_a_leap_has_one_report(
    records: Database, clock: Clock, leap: float
) -> None:
    check = send(records)
    first = claims.claim_next(records, **TERMS)
    assert first is not None
    clock.now += leap
    second = claims.claim_next(records, **TERMS)
    # One leap is one death at most: the file is not given up for it.
    assert second is not None and second.check.id == check.id and not second.give_up
    assert claims.beat(records, first, 10.0) == "lost"
    result = FileResult(0, "k" * 64, {"error": 0}, [])
    assert claims.finish(records, first, last=result).total is None
    assert claims.finish(records, second, last=result).stored
    assert read(records, check).state == "done"
    assert claims.claim_next(records, **TERMS) is None


def test_running_check_that_says_so_after_a_leap_keeps_its_worker(records: Database, clock: Clock) -> None:
    send(records)
    claim = claims.claim_next(records, **TERMS)
    assert claim is not None
    clock.now += HOUR
    assert claims.beat(records, claim, 10.0) == "go"
    assert claims.claim_next(records, **TERMS) is None
    clock.now -= 2 * HOUR
    assert claims.beat(records, claim, 10.0) == "go"
    clock.now += 11
    again = claims.claim_next(records, **TERMS)
    assert again is not None and again.check.id == claim.check.id


@pytest.mark.parametrize("leap", [-40 * DAY, -HOUR, 40 * DAY])
def test_waiting_check_is_taken_and_called_out_whatever_the_clock_says(
    records: Database, clock: Clock, leap: float
) -> None:
    check = send(records)
    clock.now += leap
    assert claims.to_call_out(records, lease_seconds=10.0, resend_seconds=5.0) == [check.id]
    claim = claims.claim_next(records, **TERMS)
    assert claim is not None and claim.check.id == check.id


@pytest.fixture
def sweeper(records: Database, tmp_path: Path) -> Sweeper:
    """Purges what is older than 30 days."""
    client: Any = SimpleNamespace(delete=lambda *_: None)
    caller: Any = None
    return Sweeper(Settings(state=tmp_path, keep_days=30), records, FolderBlobs(tmp_path / "blobs"), caller, client)


def test_nothing_is_purged_by_a_clock_that_is_set_right_within_the_hour(
    records: Database, clock: Clock, sweeper: Sweeper
) -> None:
    check = send(records)
    upload = uploads.start_upload(records, "", "half.stl", 100)
    assert sweeper.purge() == 0
    clock.now += 4000 * DAY
    for _ in range(11):
        assert sweeper.purge() == 0
        clock.now += 5 * MINUTE
    clock.now -= 4000 * DAY
    assert sweeper.purge() == 0
    assert read(records, check).state == "queued"
    assert uploads.read_upload(records, upload.id) is not None


def test_what_is_old_is_purged_an_hour_after_a_long_pause(records: Database, clock: Clock, sweeper: Sweeper) -> None:
    check = send(records)
    sweeper.purge()
    clock.now += 31 * DAY
    purged = 0
    for _ in range(13):
        assert purged == 0
        purged = sweeper.purge()
        clock.now += 5 * MINUTE
    assert purged == 1
    assert checks.read_check(records, check.id) is None


def test_short_sessions_add_up_to_that_hour(records: Database, clock: Clock, sweeper: Sweeper) -> None:
    send(records)
    sweeper.purge()
    clock.now += 31 * DAY
    # Somebody's own machine, on for a moment each day.
    assert sweeper.purge() == 0
    clock.now += DAY - HOUR
    assert sweeper.purge() == 1


def test_what_was_sent_while_the_clock_was_ahead_is_kept_and_listed_once(
    records: Database, clock: Clock, sweeper: Sweeper
) -> None:
    ids = {send(records, 1).id}
    clock.now += 5 * DAY
    ids.add(send(records, 2).id)
    clock.now -= 5 * DAY
    ids.update({send(records, 3).id, send(records, 4).id})
    seen: list[str] = []
    before = None
    while True:
        page, before = checks.list_checks(records, "", 1, before)
        seen += [x.id for x in page]
        if before is None:
            break
    assert len(seen) == 4 and set(seen) == ids
    assert sweeper.purge() == 0


@pytest.mark.parametrize("leap", [-40 * DAY, 40 * DAY])
def test_idempotency_key_holds_whatever_the_clock_says(records: Database, clock: Clock, leap: float) -> None:
    check = send(records, idempotency_key="k", idempotency_request="r")
    clock.now += leap
    assert send(records, idempotency_key="k", idempotency_request="r").id == check.id
    with pytest.raises(KeyUsedOtherwise):
        send(records, idempotency_key="k", idempotency_request="another")


def test_token_and_link_end_by_a_clock_set_ahead_and_hold_again_when_it_is_right(
    records: Database, clock: Clock
) -> None:
    _, secret = tokens.make_token(records, "t", frozenset({"check"}), 7.0)
    check = send(records)
    _, link = shares.make_share(records, check.id, 7.0)
    for leap, holds in ((0.0, True), (8 * DAY, False), (0.0, True), (-400 * DAY, True)):
        clock.now = NOON + leap
        assert (tokens.token_of(records, secret) is not None) is holds
        assert shares.opens(records, link, check.id) is holds


def test_rate_limit_refuses_for_a_minute_at_most_whatever_the_clock_says(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(**_: Any) -> Any:
        raise redis.RedisError

    here = SimpleNamespace(
        settings=Settings(requests_a_minute=3), tokens_needed=False, redis=SimpleNamespace(pipeline=away)
    )
    monkeypatch.setattr(rates, "services", lambda: here)
    monkeypatch.setattr(rates, "_own", rates.OwnCount())
    monkeypatch.setattr(rates, "_away", Away())

    def refused() -> int:
        """Ask four times; return how long the last has to wait, 0 for not at all."""
        for _ in range(4):
            try:
                rates.refuse_too_often()
            except Problem as problem:
                return int(problem.headers["Retry-After"])
        return 0

    with Flask("x").test_request_context("/api/v1/checks"):
        for leap in (0.0, HOUR, -HOUR, -40 * DAY):
            clock.now = NOON + leap
            wait = refused()
            assert 1 <= wait <= 60
            clock.now += wait
            rates.refuse_too_often()
