"""Taking uploads in and purging them: a blob lives exactly as long as something needs it.

An upload is stored, and then a check is made that points at the blob's row; once it does, the bytes
are looked for once more. Purging deletes the row where nothing points at it, and the bytes before that
deletion is committed; a new upload of the same bytes waits for the row and then stores them again.
What a process leaves that dies in between is found by `lintsvc.store.stray`.
"""

from __future__ import annotations

import io
import json
import logging
import secrets
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

from sqlalchemy import delete, exists, insert, select
from sqlalchemy.exc import IntegrityError

from lintsvc.store import blobs as blob_names
from lintsvc.store.blobs import Blobs
from lintsvc.store.checks import Deleted, FileOf
from lintsvc.store.claims import Artefact
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, blobs, check_files, facts, holds, results, uploads

log = logging.getLogger(__name__)

#: Up to this size, packed, something that was made stands in the records.
SMALL_BYTES = 16 * 1024
#: How long a stored upload waits for the check that it is for.
HOLD_SECONDS = 3600.0


def hold(db: Database, sha256: str, size: int, seconds: float = HOLD_SECONDS) -> str:
    """Keep the blob of this hash from being purged for so long. Return the hold's id."""
    hold_id = secrets.token_hex(16)
    for _ in range(5):
        try:
            with db.writing() as connection:
                if connection.execute(select(blobs.c.sha256).where(blobs.c.sha256 == sha256)).scalar() is None:
                    connection.execute(insert(blobs).values(sha256=sha256, bytes=size))
                connection.execute(insert(holds).values(id=hold_id, sha256=sha256, until=db.now + seconds))
            return hold_id
        except IntegrityError:
            # Another upload of the same bytes, or a purge of them, in the same instant: look again.
            continue
    raise OSError("the upload could not be stored; send it again")


def keep_upload(db: Database, store: Blobs, sha256: str, path: Path) -> str:
    """Store an upload's bytes, and keep them for an hour. Return the hold's id."""
    hold_id = hold(db, sha256, path.stat().st_size)
    store.take(blob_names.file_blob(sha256), path)
    return hold_id


class Sources:
    """Bytes of the files that a check is to be made from: stored before the records are asked for a turn,
    and looked after once their rows stand."""

    def __init__(self, store: Blobs) -> None:
        self._store = store
        self._paths: dict[str, Path] = {}

    def add(self, sha256: str, path: Path) -> None:
        """Store a file that nobody changes any more. Raises OSError when it cannot."""
        self._store.take(blob_names.file_blob(sha256), path)
        self._paths[sha256] = path

    def assure(self, file: FileOf) -> None:
        """Make sure that a file's bytes are there. Raises FileNotFoundError when nobody has them."""
        name = blob_names.file_blob(file.sha256)
        if self._store.has(name):
            return
        if file.sha256 not in self._paths:
            raise FileNotFoundError(file.sha256)
        self._store.take(name, self._paths[file.sha256])


def purge(db: Database, store: Blobs, left: Deleted) -> None:
    """Delete what a deleted check leaves and nothing else needs: results, what was made, bytes."""
    for name in left.blobs:
        store.delete(name)
    for key in left.results:
        for name in _purge_result(db, key):
            store.delete(name)
    for sha256 in left.files:
        _purge_file(db, store, sha256)


def _purge_result(db: Database, key: str) -> list[str]:
    used = exists().where(check_files.c.key == key)
    try:
        with db.writing() as connection:
            if connection.execute(select(used)).scalar():
                return []
            connection.execute(delete(results).where(results.c.key == key, ~used))
            place = f"result/{key}"
            stored = select(artefacts.c.blob).where(artefacts.c.place == place, artefacts.c.blob != "")
            made = list(connection.execute(stored).scalars())
            connection.execute(delete(artefacts).where(artefacts.c.place == place))
            return made
    except IntegrityError:
        return []  # a check began to use it in this instant


def _purge_file(db: Database, store: Blobs, sha256: str) -> None:
    try:
        with db.writing() as connection:
            connection.execute(delete(holds).where(holds.c.sha256 == sha256, holds.c.until < db.now))
            used = (
                exists().where(check_files.c.sha256 == sha256)
                | exists().where(holds.c.sha256 == sha256)
                | exists().where(uploads.c.sha256 == sha256)
            )
            if connection.execute(delete(blobs).where(blobs.c.sha256 == sha256, ~used)).rowcount:
                store.delete(blob_names.file_blob(sha256))
    except IntegrityError:
        log.debug("a check began to use %s while it was being purged", sha256)


def purge_unused(db: Database, store: Blobs, limit: int = 500) -> None:
    """Purge files whose hold ran out without a check."""
    with db.reading() as connection:
        stale = list(connection.execute(select(holds.c.sha256).where(holds.c.until < db.now).limit(limit)).scalars())
    for sha256 in set(stale):
        _purge_file(db, store, sha256)


def make_artefact(store: Blobs, name: str, data: bytes, scratch: Path) -> Artefact:
    """Return an artefact of these bytes: packed into the records where it is small, else stored as a blob.

    `scratch` is a folder on this machine to write in. Raises OSError.
    """
    # Reports are long lists of numbers: level 6 takes thirty times as long on them as 3, and packs no better.
    packed = zlib.compress(data, 3) if len(data) <= 8 * SMALL_BYTES else b""
    if packed and len(packed) <= SMALL_BYTES:
        return Artefact(name, "", len(data), packed)
    path = scratch / f"keep-{secrets.token_hex(4)}"
    path.write_bytes(data)
    blob = blob_names.made_blob()
    store.take(blob, path)
    return Artefact(name, blob, len(data))


def drop_made(store: Blobs, made: Iterable[Artefact]) -> None:
    """Delete the blobs of artefacts that were not recorded."""
    for artefact in made:
        if artefact.blob:
            store.delete(artefact.blob)


def find_artefact(db: Database, place: str, name: str) -> Artefact | None:
    """Return something that was made, or None when it is not."""
    with db.reading() as connection:
        row = connection.execute(
            select(artefacts).where(artefacts.c.place == place, artefacts.c.name == name)
        ).one_or_none()
    return None if row is None else Artefact(row.name, row.blob, row.bytes, row.data)


def open_artefact(store: Blobs, artefact: Artefact) -> IO[bytes]:
    """Open it for reading. Raises FileNotFoundError."""
    return store.open(artefact.blob) if artefact.blob else io.BytesIO(zlib.decompress(artefact.data or b""))


def set_fact(db: Database, name: str, value: Any) -> None:
    """Store what a worker has to tell, as JSON."""
    with db.writing() as connection:
        connection.execute(delete(facts).where(facts.c.name == name))
        connection.execute(insert(facts).values(name=name, value=json.dumps(value), updated=db.now))


def fact(db: Database, name: str) -> Any:
    """Return what a worker told, or None."""
    with db.reading() as connection:
        text = connection.execute(select(facts.c.value).where(facts.c.name == name)).scalar()
    return None if text is None else json.loads(text)
