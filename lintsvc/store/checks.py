"""Making, finding and deleting checks in the records."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, and_, delete, func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError

from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, check_files, checks, holds, idempotency, results, usage

QUEUED, RUNNING, DONE, FAILED, CANCELLED = "queued", "running", "done", "failed", "cancelled"
#: States that a check never leaves.
ENDED = frozenset({DONE, FAILED, CANCELLED})
#: Up to this size, and this many of one owner at once, checks go ahead of the rest.
SMALL_BYTES, SMALL_COUNT = 8 * 1024 * 1024, 10


@dataclass(frozen=True, slots=True)
class FileOf:
    """One file of a check. `result` is the key of its stored result, once there is one."""

    number: int
    name: str
    sha256: str
    bytes: int
    key: str = ""
    result: str | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """A check as the records have it."""

    id: str
    owner: str
    state: str
    created: float
    finished: float | None
    choices: Mapping[str, Any]
    step: str
    percent: float
    summary: Mapping[str, Any] | None
    why: str
    request: str
    attempts: int
    files: tuple[FileOf, ...] = ()

    @property
    def ended(self) -> bool:
        """True when nothing more will happen to it."""
        return self.state in ENDED


@dataclass(frozen=True, slots=True)
class NewCheck:
    """What a check is made from. The files' blobs are stored and held already."""

    owner: str
    choices: Mapping[str, Any]
    files: Sequence[FileOf]
    holds: Sequence[str] = ()
    request: str = ""
    idempotency_key: str = ""
    idempotency_request: str = ""


class QuotaUsedUp(Exception):
    """The owner may not have more. Says of what, and what to do."""


class KeyUsedOtherwise(Exception):
    """An idempotency key came back with a different request."""


@dataclass(frozen=True, slots=True)
class Quota:
    """What one owner may have."""

    bytes: int
    waiting: int


def new_id() -> str:
    """An id that cannot be guessed: 160 bits."""
    return secrets.token_urlsafe(20)


def create_check(db: Database, new: NewCheck, quota: Quota) -> tuple[Check, bool]:
    """Make a check; return it, and False when an earlier request with the same key made it already.

    A check whose files all have stored results is done at once.
    Raises QuotaUsedUp and KeyUsedOtherwise.
    """
    try:
        with db.writing() as connection:
            if (earlier := _earlier(connection, new)) is not None:
                return earlier, False
            return _create(db, connection, new, quota), True
    except IntegrityError:
        # Two requests with one key at the same instant: the other one was first.
        with db.reading() as connection:
            if (earlier := _earlier(connection, new)) is not None:
                return earlier, False
        raise


def _earlier(connection: Connection, new: NewCheck) -> Check | None:
    if not new.idempotency_key:
        return None
    row = connection.execute(
        select(idempotency.c.check_id, idempotency.c.request).where(
            idempotency.c.owner == new.owner, idempotency.c.key == new.idempotency_key
        )
    ).one_or_none()
    if row is None:
        return None
    if row.request != new.idempotency_request:
        raise KeyUsedOtherwise
    return _read(connection, row.check_id)


def _create(db: Database, connection: Connection, new: NewCheck, quota: Quota) -> Check:
    size = sum(x.bytes for x in new.files)
    _check_quota(connection, new.owner, size, quota)
    known = set(
        connection.execute(
            select(results.c.key).where(results.c.key.in_([x.key for x in new.files if x.key]))
        ).scalars()
    )
    files = [
        FileOf(n, x.name, x.sha256, x.bytes, x.key, x.key if x.key in known else None) for n, x in enumerate(new.files)
    ]
    ready = all(x.result for x in files)
    lane, turn = _place_in_queue(connection, new.owner, size)
    check_id = new_id()
    connection.execute(
        insert(checks).values(
            id=check_id,
            owner=new.owner,
            state=DONE if ready else QUEUED,
            created=db.now,
            finished=db.now if ready else None,
            choices=json.dumps(dict(new.choices), sort_keys=True),
            files=len(files),
            bytes=size,
            lane=lane,
            turn=turn,
            request=new.request,
            percent=100.0 if ready else 0.0,
            sent=db.now,
        )
    )
    connection.execute(
        insert(check_files),
        [
            {
                "check_id": check_id,
                "number": x.number,
                "name": x.name,
                "sha256": x.sha256,
                "bytes": x.bytes,
                "key": x.key,
                "result": x.result,
            }
            for x in files
        ],
    )
    if ready:
        summarise(connection, check_id)
    if new.idempotency_key:
        connection.execute(
            insert(idempotency).values(
                owner=new.owner,
                key=new.idempotency_key,
                request=new.idempotency_request,
                check_id=check_id,
                created=db.now,
            )
        )
    if new.holds:
        connection.execute(delete(holds).where(holds.c.id.in_(new.holds)))
    _add_usage(connection, new.owner, size)
    made = _read(connection, check_id)
    assert made is not None  # inserted above
    return made


def _check_quota(connection: Connection, owner: str, size: int, quota: Quota) -> None:
    used = connection.execute(select(usage.c.bytes).where(usage.c.owner == owner)).scalar() or 0
    if used + size > quota.bytes:
        raise QuotaUsedUp("the files kept for you are at their limit; delete checks that are no longer needed")
    waiting = connection.execute(
        select(func.count()).select_from(checks).where(checks.c.owner == owner, checks.c.state == QUEUED)
    ).scalar_one()
    if waiting >= quota.waiting:
        raise QuotaUsedUp("too many of your checks are waiting; send more when some of them are done")


def _place_in_queue(connection: Connection, owner: str, size: int) -> tuple[int, float]:
    """Return lane and turn: start-time fair queueing, the cost of a check growing with its size.

    An owner's next check stands behind their last one; a newcomer stands level with what is being
    served. So a thousand checks of one owner delay another's single check by one check only.
    """
    of_owner = and_(checks.c.owner == owner, checks.c.state == QUEUED)
    small_waiting = connection.execute(
        select(func.count()).select_from(checks).where(of_owner, checks.c.lane == 0)
    ).scalar_one()
    lane = 0 if size <= SMALL_BYTES and small_waiting < SMALL_COUNT else 1
    last = connection.execute(select(func.max(checks.c.turn)).where(of_owner, checks.c.lane == lane)).scalar()
    served = connection.execute(select(func.max(checks.c.turn)).where(checks.c.state == RUNNING)).scalar()
    if served is None:
        served = connection.execute(select(func.min(checks.c.turn)).where(checks.c.state == QUEUED)).scalar()
    cost = 1.0 + size / SMALL_BYTES
    return lane, max(served or 0.0, (last or 0.0) + cost)


def _add_usage(connection: Connection, owner: str, size: int) -> None:
    # Two first uploads of one owner may meet here: whoever comes second finds the row.
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    connection.execute(dialect.insert(usage).values(owner=owner, bytes=0).on_conflict_do_nothing())
    connection.execute(update(usage).where(usage.c.owner == owner).values(bytes=usage.c.bytes + size))


def summarise(connection: Connection, check_id: str) -> dict[str, int]:
    """Add up the results of a check's files and store the sum with the check."""
    total: dict[str, int] = {"error": 0, "warning": 0, "note": 0, "unreadable": 0, "not_checked": 0}
    rows = connection.execute(
        select(results.c.summary)
        .select_from(check_files.join(results, check_files.c.result == results.c.key))
        .where(check_files.c.check_id == check_id)
    ).scalars()
    for text in rows:
        for key, value in json.loads(text).items():
            total[key] = total.get(key, 0) + value
    connection.execute(update(checks).where(checks.c.id == check_id).values(summary=json.dumps(total)))
    return total


def read_check(db: Database, check_id: str) -> Check | None:
    """Return a check with its files, or None."""
    with db.reading() as connection:
        return _read(connection, check_id)


def _read(connection: Connection, check_id: str) -> Check | None:
    row = connection.execute(select(checks).where(checks.c.id == check_id)).one_or_none()
    if row is None:
        return None
    return _check(row, _files(connection, [check_id])[check_id])


def _files(connection: Connection, ids: Sequence[str]) -> dict[str, tuple[FileOf, ...]]:
    found: dict[str, list[FileOf]] = {x: [] for x in ids}
    rows = connection.execute(
        select(check_files)
        .where(check_files.c.check_id.in_(ids))
        .order_by(check_files.c.check_id, check_files.c.number)
    )
    for x in rows:
        found[x.check_id].append(FileOf(x.number, x.name, x.sha256, x.bytes, x.key, x.result))
    return {key: tuple(value) for key, value in found.items()}


def _check(row: Row[Any], files: tuple[FileOf, ...]) -> Check:
    return Check(
        id=row.id,
        owner=row.owner,
        state=row.state,
        created=row.created,
        finished=row.finished,
        choices=json.loads(row.choices),
        step=row.step,
        percent=row.percent,
        summary=None if row.summary is None else json.loads(row.summary),
        why=row.why,
        request=row.request,
        attempts=row.attempts,
        files=files,
    )


def list_checks(
    db: Database, owner: str | None, limit: int, before: tuple[float, str] | None = None
) -> tuple[list[Check], tuple[float, str] | None]:
    """Return the newest checks first, and where the next page starts (None: nowhere). Owner None: everybody's."""
    query = select(checks).order_by(checks.c.created.desc(), checks.c.id.desc()).limit(limit + 1)
    if owner is not None:
        query = query.where(checks.c.owner == owner)
    if before is not None:
        created, check_id = before
        query = query.where(or_(checks.c.created < created, and_(checks.c.created == created, checks.c.id < check_id)))
    with db.reading() as connection:
        rows = connection.execute(query).all()
        more = len(rows) > limit
        rows = rows[:limit]
        files = _files(connection, [x.id for x in rows])
    following = (float(rows[-1].created), str(rows[-1].id)) if more else None
    return [_check(x, files[x.id]) for x in rows], following


def owns_file(db: Database, owner: str | None, sha256: str) -> FileOf | None:
    """Return a file with these bytes from one of the owner's checks, or None. Owner None: anybody's."""
    query = (
        select(check_files)
        .select_from(check_files.join(checks, checks.c.id == check_files.c.check_id))
        .where(check_files.c.sha256 == sha256)
        .limit(1)
    )
    if owner is not None:
        query = query.where(checks.c.owner == owner)
    with db.reading() as connection:
        x = connection.execute(query).one_or_none()
    return None if x is None else FileOf(0, x.name, x.sha256, x.bytes)


def cancel_check(db: Database, check_id: str) -> bool:
    """Ask for a check to be stopped; a waiting one stops at once. Return False when it has ended already."""
    with db.writing() as connection:
        stopped = connection.execute(
            update(checks)
            .where(checks.c.id == check_id, checks.c.state == QUEUED)
            .values(state=CANCELLED, cancel=True, finished=db.now, claim=None)
        ).rowcount
        asked = connection.execute(
            update(checks).where(checks.c.id == check_id, checks.c.state == RUNNING).values(cancel=True)
        ).rowcount
    return bool(stopped or asked)


@dataclass(frozen=True, slots=True)
class Deleted:
    """What a deleted check leaves to be purged."""

    files: tuple[str, ...] = ()
    results: tuple[str, ...] = ()
    blobs: tuple[str, ...] = field(default=())


def delete_checks(db: Database, ids: Sequence[str]) -> Deleted:
    """Delete checks whatever their state. A worker that has one finds its claim gone and stops."""
    with db.writing() as connection:
        rows = connection.execute(
            select(check_files.c.sha256, check_files.c.result, check_files.c.key).where(check_files.c.check_id.in_(ids))
        ).all()
        for x in connection.execute(select(checks.c.owner, checks.c.bytes).where(checks.c.id.in_(ids))).all():
            _add_usage(connection, x.owner, -x.bytes)
        places = [f"check/{x}" for x in ids]
        stored = select(artefacts.c.blob).where(artefacts.c.place.in_(places), artefacts.c.blob != "")
        made = connection.execute(stored).scalars().all()
        connection.execute(delete(artefacts).where(artefacts.c.place.in_(places)))
        # The rows that hang on them go by the foreign keys.
        connection.execute(delete(checks).where(checks.c.id.in_(ids)))
    return Deleted(
        tuple({x.sha256 for x in rows}), tuple({x.result or x.key for x in rows if x.result or x.key}), tuple(made)
    )


def expired_checks(db: Database, older_than_seconds: float, limit: int = 200) -> list[str]:
    """Return ids of checks made longer ago than that, oldest first."""
    with db.reading() as connection:
        return list(
            connection.execute(
                select(checks.c.id)
                .where(checks.c.created < db.now - older_than_seconds)
                .order_by(checks.c.created)
                .limit(limit)
            ).scalars()
        )


def result_key(sha256: str, choices: Mapping[str, Any], version: str) -> str:
    """Return the key of a file's result: the same bytes, choices and packs give the same report."""
    said = json.dumps([sha256, choices, version], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(said.encode()).hexdigest()
