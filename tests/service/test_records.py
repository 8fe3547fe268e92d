"""The records, on SQLite and on a real PostgreSQL: claims, queue order, purging, migrations."""

from __future__ import annotations

import json
import threading
from collections import Counter
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import insert, inspect, select, text, update

from lintsvc.store import checks, claims, keeping, tokens, uploads
from lintsvc.store.accept import NewCheck, Quota, QuotaUsedUp, create_check
from lintsvc.store.blobs import FolderBlobs, file_blob
from lintsvc.store.checks import FileOf
from lintsvc.store.claims import FileResult
from lintsvc.store.database import Database, alembic_config
from lintsvc.store.tables import checks as checks_table
from lintsvc.store.tables import metadata, results

QUOTA = Quota(1 << 40, 100_000)
LEASE = {"lease_seconds": 10.0, "deaths": 2}


def sha(number: int) -> str:
    return f"{number:064x}"


def new(db: Database, number: int = 1, owner: str = "", size: int = 1000, **more: object) -> checks.Check:
    file = FileOf(0, f"{number}.stl", sha(number), size, key=str(more.pop("key", "")))
    made, _ = create_check(db, NewCheck(owner, {}, [file], **more), QUOTA)  # type: ignore[arg-type]
    return made


def test_migrations_end_in_the_tables_of_the_code(db: Database) -> None:
    with db.engine.connect() as connection:
        difference = compare_metadata(MigrationContext.configure(connection, opts={"compare_type": True}), metadata)
    assert difference == []


def test_migrating_twice_and_at_once_changes_nothing(empty: Database) -> None:
    if empty.lite:
        empty.migrate()
        empty.migrate()
    else:
        threads = [threading.Thread(target=empty.migrate) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert "checks" in inspect(empty.engine).get_table_names()


def test_every_migration_keeps_the_rows_that_are_there(empty: Database) -> None:
    revisions = [x.revision for x in ScriptDirectory.from_config(alembic_config()).walk_revisions()][::-1]

    def upgrade(revision: str) -> None:
        with empty.engine.connect() as connection:
            config = alembic_config()
            config.attributes["connection"] = connection
            command.upgrade(config, revision)
            connection.commit()

    upgrade(revisions[0])
    # As the first version wrote them.
    with empty.writing() as connection:
        connection.execute(text("insert into blobs (sha256, bytes) values (:s, 9)"), {"s": sha(5)})
        connection.execute(
            text("insert into checks (id, owner, state, created, choices, files, bytes, lane, turn) "
                 "values ('old', '', 'queued', 1700000000, '{}', 1, 9, 0, 1)")
        )  # fmt: skip
        connection.execute(
            text("insert into check_files (check_id, number, name, sha256, bytes) values ('old', 0, 'a.stl', :s, 9)"),
            {"s": sha(5)},
        )
    for revision in revisions[1:]:
        upgrade(revision)
    check = checks.read_check(empty, "old")
    assert check is not None
    assert check.files[0].name == "a.stl"
    claim = claims.claim_next(empty, **LEASE)
    assert claim is not None
    assert claim.check.id == "old"


def test_many_workers_claim_every_check_exactly_once(db: Database) -> None:
    ids = {new(db, n).id for n in range(40)}
    taken: list[str] = []
    lock = threading.Lock()

    def work() -> None:
        while (claim := claims.claim_next(db, **LEASE)) is not None:
            with lock:
                taken.append(claim.check.id)
            claims.finish(db, claim)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert Counter(taken) == Counter(ids)


def test_end_of_a_check_takes_the_next_one_and_a_lost_claim_takes_none(db: Database) -> None:
    first, second = new(db, 1), new(db, 2)
    claim = claims.claim_next(db, **LEASE)
    assert claim is not None
    terms = claims.Terms(10.0, 2)
    ended = claims.finish(db, claim, then_claim=terms)
    assert ended.total is not None
    assert ended.following is not None
    assert {claim.check.id, ended.following.check.id} == {first.id, second.id}
    assert claims.finish(db, claim, then_claim=terms) == claims.Finished(None, False)
    assert claims.finish(db, ended.following, then_claim=terms).following is None


def test_check_of_bytes_that_are_gone_is_not_made(db: Database, tmp_path: Path) -> None:
    sources = keeping.Sources(FolderBlobs(tmp_path / "blobs"))
    with pytest.raises(FileNotFoundError):
        create_check(db, NewCheck("", {}, [FileOf(0, "a", sha(9), 14)]), QUOTA, sources.assure)
    assert checks.list_checks(db, None, 5) == ([], None)


def test_lost_lease_is_claimed_again_and_the_first_worker_comes_too_late(db: Database) -> None:
    new(db, 1)
    first = claims.claim_next(db, **LEASE)
    assert first is not None
    assert claims.claim_next(db, **LEASE) is None
    with db.writing() as connection:
        connection.execute(update(checks_table).values(lease=1.0))
    second = claims.claim_next(db, **LEASE)
    assert second is not None
    assert second.check.id == first.check.id
    assert claims.beat(db, first, 10) == "lost"
    assert claims.beat(db, second, 10) == "go"
    assert not claims.finish_file(db, first, FileResult(0, "k" * 64, {"error": 1}, []))
    assert claims.finish(db, first) == claims.Finished(None, False)
    assert claims.finish_file(db, second, FileResult(0, "k" * 64, {"error": 2}, []))
    total = claims.finish(db, second).total
    assert total == {"error": 2, "note": 0, "not_checked": 0, "unreadable": 0, "warning": 0}
    with db.reading() as connection:
        assert len(connection.execute(select(results)).all()) == 1


def test_error_of_ours_counts_as_a_death_so_that_it_ends(db: Database) -> None:
    new(db)
    for wanted in (False, False, True):
        claim = claims.claim_next(db, lease_seconds=10, deaths=2)
        assert claim is not None and claim.give_up is wanted
        claims.hand_back(db, claim, counts=True)


def test_check_is_given_up_after_two_deaths_and_not_after_hand_backs(db: Database) -> None:
    new(db, 1)
    for _ in range(5):
        claim = claims.claim_next(db, **LEASE)
        assert claim is not None
        assert not claim.give_up
        claims.hand_back(db, claim)
    gave_up = []
    for _ in range(3):
        claim = claims.claim_next(db, **LEASE)
        assert claim is not None
        gave_up.append(claim.give_up)
        with db.writing() as connection:
            connection.execute(update(checks_table).values(lease=1.0))
    assert gave_up == [False, False, True]


def test_clock_that_was_set_back_keeps_no_check_for_ever(db: Database) -> None:
    new(db, 1)
    assert claims.claim_next(db, **LEASE) is not None
    with db.writing() as connection:
        connection.execute(update(checks_table).values(lease=db.now + 86_400, sent=db.now + 86_400))
    assert claims.claim_next(db, **LEASE) is not None
    check = new(db, 2)
    with db.writing() as connection:
        connection.execute(update(checks_table).where(checks_table.c.id == check.id).values(sent=db.now + 86_400))
    assert check.id in claims.to_call_out(db, lease_seconds=10, resend_seconds=5)


def test_waiting_checks_are_called_out_again_but_not_all_the_time(db: Database) -> None:
    check = new(db, 1)
    call = {"lease_seconds": 10.0, "resend_seconds": 5.0}
    assert claims.to_call_out(db, **call) == []
    with db.writing() as connection:
        connection.execute(update(checks_table).values(sent=1.0))
    assert claims.to_call_out(db, **call) == [check.id]
    assert claims.to_call_out(db, **call) == []


def test_small_file_goes_ahead_of_a_batch_of_big_ones(db: Database) -> None:
    for n in range(20):
        new(db, n, size=50 << 20)
    small = new(db, 99, size=10_000)
    claim = claims.claim_next(db, **LEASE)
    assert claim is not None
    assert claim.check.id == small.id


def test_big_files_are_not_kept_waiting_for_ever_by_small_ones(db: Database) -> None:
    big = new(db, 1, size=50 << 20)
    for n in range(2, 12):
        new(db, n)
    claim = claims.claim_next(db, fair=True, **LEASE)
    assert claim is not None
    assert claim.check.id == big.id


def test_owner_with_many_checks_does_not_keep_another_waiting(db: Database) -> None:
    for n in range(60):
        new(db, n, owner="many", size=20 << 20)
    few = [new(db, 100 + n, owner="few", size=20 << 20).id for n in range(3)]
    order = []
    for _ in range(8):
        claim = claims.claim_next(db, **LEASE)
        assert claim is not None
        order.append(claim.check.id)
        claims.finish(db, claim)
    assert set(few) <= set(order)


def test_quota_counts_bytes_and_gives_them_back(db: Database) -> None:
    quota = Quota(1500, 10)
    file = FileOf(0, "a", sha(1), 1000)
    keeping.hold(db, sha(1), 1000)
    first, _ = create_check(db, NewCheck("o", {}, [file]), quota)
    with pytest.raises(QuotaUsedUp):
        create_check(db, NewCheck("o", {}, [file]), quota)
    create_check(db, NewCheck("other", {}, [file]), quota)
    checks.delete_checks(db, [first.id])
    create_check(db, NewCheck("o", {}, [file]), quota)


def test_purging_and_uploading_the_same_bytes_at_once_loses_nothing(db: Database, tmp_path: Path) -> None:
    store = FolderBlobs(tmp_path / "blobs")
    source = tmp_path / "source"
    source.write_bytes(b"the same bytes")
    wrong: list[str] = []

    def come_and_go() -> None:
        for _ in range(12):
            sources = keeping.Sources(store)
            sources.add(sha(7), source)
            wanted = NewCheck("", {}, [FileOf(0, "a", sha(7), 14)])
            check, _ = create_check(db, wanted, QUOTA, sources.assure)
            if not store.has(file_blob(sha(7))):
                wrong.append("a check stands without its bytes")
            keeping.purge(db, store, checks.delete_checks(db, [check.id]))

    threads = [threading.Thread(target=come_and_go) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert not store.has(file_blob(sha(7)))


def test_result_is_purged_with_its_last_check(db: Database, tmp_path: Path) -> None:
    store = FolderBlobs(tmp_path / "blobs")
    blob = tmp_path / "made"
    blob.write_bytes(b"x")
    store.put("made/aa/aaaa", blob)
    key = "a" * 64
    one = new(db, 1, key=key)
    claim = claims.claim_next(db, **LEASE)
    assert claim is not None
    made = [claims.Artefact("report.json", "made/aa/aaaa", 1)]
    ended = claims.finish(db, claim, last=FileResult(0, key, {"error": 0}, made))
    assert (ended.stored, ended.total is not None) == (True, True)
    two = new(db, 1, key=key)
    assert two.state == "done"
    keeping.purge(db, store, checks.delete_checks(db, [one.id]))
    assert store.has("made/aa/aaaa")
    keeping.purge(db, store, checks.delete_checks(db, [two.id]))
    assert not store.has("made/aa/aaaa")
    assert list((tmp_path / "blobs" / "made").rglob("aaaa")) == []


def test_held_upload_without_a_check_is_purged_when_its_time_is_over(db: Database, tmp_path: Path) -> None:
    from lintsvc.store.tables import holds

    store = FolderBlobs(tmp_path / "blobs")
    source = tmp_path / "source"
    source.write_bytes(b"never used")
    keeping.keep_upload(db, store, sha(3), source)
    keeping.purge_unused(db, store)
    assert store.has(file_blob(sha(3)))
    with db.writing() as connection:
        connection.execute(update(holds).values(until=1.0))
    keeping.purge_unused(db, store)
    assert not store.has(file_blob(sha(3)))


def test_list_has_no_gap_and_no_double_while_checks_come_in(db: Database) -> None:
    ids = [new(db, n).id for n in range(9)]
    seen: list[str] = []
    place = None
    while True:
        page, place = checks.list_checks(db, "", 2, place)
        seen += [x.id for x in page]
        new(db, 50 + len(seen))
        if place is None:
            break
    assert sorted(seen) == sorted(ids)


def test_token_and_upload_are_found_only_as_long_as_they_hold(db: Database) -> None:
    _, secret = tokens.make_token(db, "t", frozenset({"check"}), 1)
    assert tokens.token_of(db, secret) is not None
    assert tokens.token_of(db, secret + "x") is None
    with pytest.raises(ValueError, match="no scope"):
        tokens.make_token(db, "t", frozenset({"all"}), 1)
    upload = uploads.start_upload(db, "", "a.stl", 10)
    assert uploads.add_part(db, upload, 4)
    # The same piece a second time, as from a client that did not hear the answer.
    assert not uploads.add_part(db, upload, 4)
    now = uploads.read_upload(db, upload.id)
    assert now is not None
    assert (now.offset, now.parts) == (4, 1)


def test_queue_order_is_read_from_an_index_however_many_checks_are_stored(db: Database) -> None:
    row = {
        "owner": "",
        "state": "done",
        "created": 1.0,
        "choices": "{}",
        "files": 1,
        "bytes": 1,
        "lane": 0,
        "turn": 1.0,
    }
    with db.writing() as connection:
        connection.execute(insert(checks_table), [{"id": f"old{n}", **row} for n in range(3000)])
        if not db.lite:
            connection.execute(text("analyze checks"))
    query = select(checks_table.c.id).where(checks_table.c.state == "queued")
    query = query.order_by(checks_table.c.lane, checks_table.c.turn).limit(1)
    with db.reading() as connection:
        words = str(query.compile(db.engine, compile_kwargs={"literal_binds": True}))
        plan = connection.execute(text(("explain query plan " if db.lite else "explain ") + words)).all()
    said = json.dumps([str(x) for x in plan])
    assert "ix_checks_state" in said
    assert "Seq Scan" not in said
    assert "TEMP B-TREE" not in said
