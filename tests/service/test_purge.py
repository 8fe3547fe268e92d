"""What is deleted, or older than it is kept, is gone from everywhere."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import redis
from parts.service_parts import open_box_stl
from service.running import Running
from sqlalchemy import select, update

from lintsvc.settings import Settings
from lintsvc.store import checks, keeping
from lintsvc.store.accept import NewCheck, Quota, create_check
from lintsvc.store.blobs import FolderBlobs, file_blob
from lintsvc.store.checks import FileOf
from lintsvc.store.database import Database
from lintsvc.store.events import stream
from lintsvc.store.sweeping import Sweeper
from lintsvc.store.tables import checks as checks_table
from lintsvc.store.tables import metadata

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def mentions(db: Database, *words: str) -> dict[str, list[str]]:
    """Rows that have one of the words in them, by table."""
    found = {}
    with db.reading() as connection:
        for table in metadata.sorted_tables:
            rows = [str(x) for x in connection.execute(select(table))]
            if hits := [x for x in rows if any(word in x for word in words)]:
                found[table.name] = hits
    return found


def test_nothing_anywhere_tells_of_a_deleted_check(service: Running) -> None:
    data = open_box_stl() + b"\0\0\0"
    digest = hashlib.sha256(data).hexdigest()
    sent = service.send([("gone-for-good.stl", data)], {"quantity": "9"}, Idempotency_Key="key-that-goes")
    check = sent.json["id"]
    base = f"/api/v1/checks/{check}"
    finding = service.get(base).json["report"]["parts"][0]["findings"][0]["fingerprint"]
    assert service.request("POST", f"{base}/shares").status == 201
    assert service.request("PUT", f"{base}/files/0/set-aside/{finding}", b"reason=told-to-nobody", FORM).status == 200
    for made in ("files/0/geometry", "report.html", "report.sarif"):
        assert service.get(f"{base}/{made}").status == 200
    db = Database(f"sqlite:///{service.state / 'records.sqlite3'}")
    words = (check, digest, "gone-for-good", "key-that-goes", "told-to-nobody")
    tables = {"blobs", "checks", "check_files", "idempotency", "shares", "set_asides"}
    assert tables <= mentions(db, *words).keys()
    client = redis.Redis(unix_socket_path=str(service.state / "redis" / "redis.sock"), decode_responses=True)
    assert client.exists(stream(check))
    blobs = [x for x in (service.state / "blobs").rglob("*") if x.is_file()]
    assert service.request("DELETE", base).status == 204
    assert mentions(db, *words) == {}
    assert not client.exists(stream(check))
    # What is left is that something was asked for, and goes by itself.
    assert [x for x in client.scan_iter(f"*{check}*") if not 0 <= client.ttl(x) <= 60] == []
    gone = [x for x in blobs if not x.exists()]
    assert [x.name for x in gone if x.name == digest] == [digest]
    assert list((service.state / "incoming").iterdir()) == []
    client.close()
    db.dispose()


class Forgets:
    """Stands for Redis: notes whose events were deleted."""

    def __init__(self) -> None:
        self.deleted: list[str] = []

    def delete(self, name: str) -> None:
        self.deleted.append(name)


def test_checks_are_kept_as_long_as_the_settings_say(db: Database, tmp_path: Path) -> None:
    store, source = FolderBlobs(tmp_path / "blobs"), tmp_path / "source"
    ids = {}
    for name, days in (("old", 1.01), ("young", 0.99)):
        source.write_bytes(name.encode())
        digest = hashlib.sha256(name.encode()).hexdigest()
        sources = keeping.Sources(store)
        sources.add(digest, source)
        check, _ = create_check(db, NewCheck("", {}, [FileOf(0, name, digest, 5)]), Quota(1000, 10), sources.assure)
        ids[name] = (check.id, digest)
        with db.writing() as connection:
            row = update(checks_table).where(checks_table.c.id == check.id)
            connection.execute(row.values(created=db.now - days * 86_400))
    client: Any = Forgets()
    caller: Any = None
    for keep_days, gone in ((0.0, []), (1.0, ["old"])):
        settings = Settings(state=tmp_path, keep_days=keep_days)
        assert Sweeper(settings, db, store, caller, client).purge() == len(gone)
        for name, (check_id, digest) in ids.items():
            assert (checks.read_check(db, check_id) is None) == (name in gone)
            assert store.has(file_blob(digest)) != (name in gone)
    assert client.deleted == [f"lintsvc:check:{ids['old'][0]}"]


def test_files_of_the_records_hold_nothing_of_what_was_purged(tmp_path: Path) -> None:
    db = Database(f"sqlite:///{tmp_path / 'records' / 'records.sqlite3'}")
    db.migrate()

    def told() -> list[str]:
        files = (tmp_path / "records").iterdir()
        return [x.name for x in files if b"customers-secret-part" in x.read_bytes()]

    digest = hashlib.sha256(b"x").hexdigest()
    new = NewCheck("", {}, [FileOf(0, "customers-secret-part.stl", digest, 1)])
    check, _ = create_check(db, new, Quota(1000, 10))
    assert told()
    checks.delete_checks(db, [check.id])
    client: Any = Forgets()
    caller: Any = None
    settings = Settings(state=tmp_path)
    # Somebody who reads meanwhile is waited for, and not long: the next round does it.
    with db.reading() as connection:
        connection.execute(select(checks_table)).all()
        Sweeper(settings, db, FolderBlobs(tmp_path / "blobs"), caller, client).purge()
    Sweeper(settings, db, FolderBlobs(tmp_path / "blobs"), caller, client).purge()
    assert told() == []
    db.dispose()
