"""Bytes that no record knows are found and deleted; those that something needs stay."""

from __future__ import annotations

import os
import time
from pathlib import Path

from sqlalchemy import insert

from lintsvc.store import checks, keeping, stray, uploads
from lintsvc.store.accept import NewCheck, Quota, create_check
from lintsvc.store.blobs import FolderBlobs, file_blob, made_blob
from lintsvc.store.checks import FileOf
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, facts

NEEDED, LOST = "a" * 64, "b" * 64


def store_with(folder: Path, *names: str) -> FolderBlobs:
    """Blobs with these names, a day old."""
    store = FolderBlobs(folder / "blobs")
    source = folder / "source"
    source.write_bytes(b"some bytes")
    for name in names:
        store.put(name, source)
        os.utime(store.root / name, (time.time() - 86_400,) * 2)
    return store


def test_lost_bytes_go_and_needed_ones_stay(db: Database, tmp_path: Path) -> None:
    upload = uploads.start_upload(db, "", "a.stl", 10)
    made, lost = made_blob(), made_blob()
    pieces = uploads.part_blob(upload.id, 0), uploads.part_blob("gone", 0)
    half = "files/cc/.1234.part"
    store = store_with(tmp_path, made, lost, *pieces, file_blob(NEEDED), file_blob(LOST), half)
    create_check(db, NewCheck("", {}, [FileOf(0, "a.stl", NEEDED, 10)]), Quota(1000, 10))
    with db.writing() as connection:
        row = {"place": "result/k", "name": "geometry", "blob": made, "bytes": 10, "created": 1.0}
        connection.execute(insert(artefacts), row)
    assert stray.sweep(db, store) == 4
    left = {str(x.relative_to(store.root)) for x in store.root.rglob("*") if x.is_file()}
    assert left == {made, pieces[0], file_blob(NEEDED)}
    assert stray.sweep(db, store) == 0


def test_bytes_whose_record_may_still_come_stay(db: Database, tmp_path: Path) -> None:
    store = store_with(tmp_path)
    fresh = made_blob()
    store.put(fresh, tmp_path / "source")
    store.put(file_blob(LOST), tmp_path / "source")
    assert stray.sweep(db, store) == 0
    assert store.has(fresh)


def test_upload_of_swept_bytes_is_stored_again(db: Database, tmp_path: Path) -> None:
    store = store_with(tmp_path, file_blob(LOST))
    sources = keeping.Sources(store)
    sources.add(LOST, tmp_path / "source")  # finds them there
    assert stray.sweep(db, store) == 1
    check, _ = create_check(db, NewCheck("", {}, [FileOf(0, "a", LOST, 10)]), Quota(1000, 10), sources.assure)
    assert store.has(file_blob(LOST))
    keeping.purge(db, store, checks.delete_checks(db, [check.id]))
    assert not store.has(file_blob(LOST))


def test_one_process_in_a_day_sweeps(db: Database) -> None:
    assert not stray.is_time(db)  # the first only notes the time
    assert not stray.is_time(db)
    with db.writing() as connection:
        connection.execute(facts.update().values(updated=time.time() - 90_000))
    assert [stray.is_time(db) for _ in range(3)] == [True, False, False]


def test_old_folders_of_dead_workers_go(tmp_path: Path) -> None:
    for name in ("old", "new"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "part").write_bytes(b"x")
    os.utime(tmp_path / "old", (1.0, 1.0))
    assert stray.sweep_folder(tmp_path) == 1
    assert [x.name for x in tmp_path.iterdir()] == ["new"]
    assert stray.sweep_folder(tmp_path / "nothing") == 0
