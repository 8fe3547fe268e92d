"""What a process leaves behind that dies in the wrong instant: bytes that no record knows. Found once a day."""

from __future__ import annotations

import logging
import shutil
import subprocess
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path

from sqlalchemy import Column, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from lintsvc.store.blobs import Blobs
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, blobs, facts, uploads

log = logging.getLogger(__name__)

#: Bytes are stored before the record that points at them; a record that is that late will not come any more.
LATE_SECONDS = 6 * 3600.0
#: All blobs are looked through this often, by whichever process comes first.
EVERY_SECONDS = 86_400.0
_AT_ONCE = 500


def sweep(db: Database, store: Blobs, late_seconds: float = LATE_SECONDS) -> int:
    """Delete stored bytes that no record points at. Return how many."""
    before = time.time() - late_seconds
    count = 0
    for some in _lots(store.old("made", before)):
        count += _delete(store, some - _pointed_at(db, artefacts.c.blob, some))
    for some in _lots(store.old("uploads", before)):
        ids = {x.split("/")[1] for x in some}
        known = _pointed_at(db, uploads.c.id, ids)
        count += _delete(store, {x for x in some if x.split("/")[1] not in known})
    for some in _lots(store.old("files", before)):
        known = _pointed_at(db, blobs.c.sha256, {_last(x) for x in some})
        count += sum(_delete_file(db, store, x) for x in some if _last(x) not in known)
    if count:
        log.warning("%d stored files that nothing needed were deleted", count)
    return count


def _last(name: str) -> str:
    return name.rsplit("/", 1)[-1]


def _lots(names: Iterator[str]) -> Iterator[set[str]]:
    while some := set(islice(names, _AT_ONCE)):
        yield some


def _pointed_at(db: Database, column: Column[str], names: Iterable[str]) -> set[str]:
    with db.reading() as connection:
        return set(connection.execute(select(column).where(column.in_(names))).scalars())


def _delete(store: Blobs, names: Iterable[str]) -> int:
    count = 0
    for name in names:
        store.delete(name)
        count += 1
    return count


def _delete_file(db: Database, store: Blobs, name: str) -> int:
    """Delete an upload's bytes while nobody can begin to use them: the row keeps a check of them waiting."""
    sha256 = _last(name)
    if sha256.startswith("."):  # half-written
        store.delete(name)
        return 1
    try:
        with db.writing() as connection:
            connection.execute(insert(blobs).values(sha256=sha256, bytes=0))
            store.delete(name)
            connection.execute(delete(blobs).where(blobs.c.sha256 == sha256))
    except IntegrityError:
        return 0  # somebody uses it since
    return 1


def is_time(db: Database, name: str = "swept", every_seconds: float = EVERY_SECONDS) -> bool:
    """True for one process in so many seconds."""
    try:
        with db.writing() as connection:
            due = (facts.c.name == name) & (facts.c.updated < db.now - every_seconds)
            if connection.execute(update(facts).where(due).values(updated=db.now)).rowcount:
                return True
            if connection.execute(select(facts.c.name).where(facts.c.name == name)).scalar() is None:
                connection.execute(insert(facts).values(name=name, value="null", updated=db.now))
    except IntegrityError:
        pass  # another process, in this instant
    return False


def remove_folder(folder: Path) -> None:
    """Delete a folder and all below it, however deep: what a child made in its own may be deeper than Python can go."""
    with suppress(RecursionError):
        shutil.rmtree(folder, ignore_errors=True)
    if folder.exists():
        subprocess.run(["rm", "-rf", "--", str(folder)], stderr=subprocess.DEVNULL, check=False)


def sweep_folder(folder: Path, late_seconds: float = LATE_SECONDS) -> int:
    """Delete what lies in a folder of passing things for so long that nobody works on it any more. Return how many."""
    before, count = time.time() - late_seconds, 0
    for path in folder.iterdir() if folder.is_dir() else ():
        try:
            if path.lstat().st_mtime >= before:
                continue
        except FileNotFoundError:
            continue
        if path.is_dir() and not path.is_symlink():
            remove_folder(path)
        else:
            path.unlink(missing_ok=True)
        count += 1
    return count
