"""Resumable uploads: pieces are stored as they come, in any process, and joined when the last is there."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from sqlalchemy import delete, insert, select, update

from lintsvc.store.blobs import Blobs
from lintsvc.store.database import Database
from lintsvc.store.tables import uploads

#: An upload that nobody adds to is forgotten after this.
KEEP_SECONDS = 86_400.0


@dataclass(frozen=True, slots=True)
class Upload:
    """An upload under way. `sha256` is set when all of it is there."""

    id: str
    owner: str
    name: str
    length: int
    offset: int
    parts: int
    sha256: str | None
    expires: float


def part_blob(upload_id: str, number: int) -> str:
    """Name of a piece's blob."""
    return f"uploads/{upload_id}/{number:06d}"


def start_upload(db: Database, owner: str, name: str, length: int) -> Upload:
    """Begin an upload of `length` bytes."""
    upload_id = secrets.token_urlsafe(20)
    with db.writing() as connection:
        connection.execute(
            insert(uploads).values(id=upload_id, owner=owner, name=name, length=length, expires=db.now + KEEP_SECONDS)
        )
    found = read_upload(db, upload_id)
    assert found is not None  # inserted above
    return found


def read_upload(db: Database, upload_id: str) -> Upload | None:
    """Return an upload, or None."""
    with db.reading() as connection:
        row = connection.execute(
            select(uploads).where(uploads.c.id == upload_id, uploads.c.expires > db.now)
        ).one_or_none()
    if row is None:
        return None
    return Upload(row.id, row.owner, row.name, row.length, row.offset, row.parts, row.sha256, row.expires)


def add_part(db: Database, upload: Upload, size: int) -> bool:
    """Count a stored piece in. False when another piece was counted since: this one is then dropped."""
    with db.writing() as connection:
        changed = connection.execute(
            update(uploads)
            .where(uploads.c.id == upload.id, uploads.c.offset == upload.offset, uploads.c.parts == upload.parts)
            .values(offset=upload.offset + size, parts=upload.parts + 1, expires=db.now + KEEP_SECONDS)
        ).rowcount
    return bool(changed)


def finish_upload(db: Database, upload_id: str, sha256: str) -> None:
    """Say that the joined bytes are stored."""
    with db.writing() as connection:
        connection.execute(update(uploads).where(uploads.c.id == upload_id).values(sha256=sha256))


def drop_upload(db: Database, blobs: Blobs, upload_id: str) -> None:
    """Forget an upload and its pieces."""
    with db.writing() as connection:
        connection.execute(delete(uploads).where(uploads.c.id == upload_id))
    drop_parts(blobs, upload_id)


def drop_parts(blobs: Blobs, upload_id: str) -> None:
    """Delete an upload's pieces."""
    for name in list(blobs.names(f"uploads/{upload_id}")):
        blobs.delete(name)


def expired_uploads(db: Database, limit: int = 200) -> list[Upload]:
    """Return uploads that nobody added to for a day."""
    with db.reading() as connection:
        rows = connection.execute(select(uploads).where(uploads.c.expires <= db.now).limit(limit)).all()
    return [Upload(x.id, x.owner, x.name, x.length, x.offset, x.parts, x.sha256, x.expires) for x in rows]
