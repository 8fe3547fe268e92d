"""Finding, cancelling and deleting checks in the records. They are made in `lintsvc.store.accept`."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, and_, bindparam, case, delete, func, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, check_files, checks, results, usage

QUEUED, RUNNING, DONE, FAILED, CANCELLED = "queued", "running", "done", "failed", "cancelled"
#: States that a check never leaves.
ENDED = frozenset({DONE, FAILED, CANCELLED})


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


_SUMMARIES = (
    select(results.c.summary)
    .select_from(check_files.join(results, check_files.c.result == results.c.key))
    .where(check_files.c.check_id == bindparam("check"))
)


def summaries_in(connection: Connection, check_id: str) -> list[str]:
    """The summaries of a check's results, as they are stored."""
    return list(connection.execute(_SUMMARIES, {"check": check_id}).scalars())


def add_up(summaries: Iterable[str]) -> dict[str, int]:
    """Add up the stored summaries of a check's files."""
    total: dict[str, int] = {"error": 0, "warning": 0, "note": 0, "unreadable": 0, "not_checked": 0}
    for text in summaries:
        for key, value in json.loads(text).items():
            total[key] = total.get(key, 0) + value
    return total


def read_check(db: Database, check_id: str) -> Check | None:
    """Return a check with its files, or None."""
    with db.reading() as connection:
        return read_in(connection, check_id)


_ONE = select(checks).where(checks.c.id == bindparam("check"))
_ITS_FILES = (
    select(check_files)
    .where(check_files.c.check_id.in_(bindparam("checks", expanding=True)))
    .order_by(check_files.c.check_id, check_files.c.number)
)


def read_in(connection: Connection, check_id: str) -> Check | None:
    """Return a check with its files as this transaction sees it, or None."""
    row = connection.execute(_ONE, {"check": check_id}).one_or_none()
    return None if row is None else check_of(row, files_of(connection, [check_id])[check_id])


def files_of(connection: Connection, ids: Sequence[str]) -> dict[str, tuple[FileOf, ...]]:
    """Return the files of these checks."""
    found: dict[str, list[FileOf]] = {x: [] for x in ids}
    for x in connection.execute(_ITS_FILES, {"checks": list(ids)}):
        found[x.check_id].append(FileOf(x.number, x.name, x.sha256, x.bytes, x.key, x.result))
    return {key: tuple(value) for key, value in found.items()}


def check_of(row: Row[Any], files: tuple[FileOf, ...]) -> Check:
    """A row of the table with its files."""
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
        files = files_of(connection, [x.id for x in rows])
    following = (float(rows[-1].created), str(rows[-1].id)) if more else None
    return [check_of(x, files[x.id]) for x in rows], following


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


def owned_files(db: Database, owner: str | None, sha256: Sequence[str]) -> set[str]:
    """Return which of these hashes are of files in the owner's checks. Owner None: anybody's."""
    found: set[str] = set()
    # A statement takes only so many values.
    for start in range(0, len(sha256), 500):
        query = (
            select(check_files.c.sha256)
            .select_from(check_files.join(checks, checks.c.id == check_files.c.check_id))
            .where(check_files.c.sha256.in_(sha256[start : start + 500]))
            .distinct()
        )
        if owner is not None:
            query = query.where(checks.c.owner == owner)
        with db.reading() as connection:
            found.update(connection.execute(query).scalars())
    return found


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


def _usage(dialect: Any) -> Any:
    row = dialect.insert(usage).values(owner=bindparam("owner"), bytes=bindparam("size"))
    total = usage.c.bytes + row.excluded.bytes
    # Never below nothing, whatever was counted before.
    return row.on_conflict_do_update(index_elements=["owner"], set_={"bytes": case((total < 0, 0), else_=total)})


_ADD_USAGE = {"sqlite": _usage(sqlite), "postgresql": _usage(postgresql)}


def add_usage(connection: Connection, owner: str, size: int) -> None:
    """Count so many bytes more, or fewer, for an owner."""
    connection.execute(_ADD_USAGE[connection.dialect.name], {"owner": owner, "size": size})


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
        sums = select(checks.c.owner, func.sum(checks.c.bytes)).where(checks.c.id.in_(ids)).group_by(checks.c.owner)
        # In one order everywhere, so that two who delete cannot wait for each other.
        for owner, size in sorted(tuple(x) for x in connection.execute(sums)):
            add_usage(connection, owner, -int(size))
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
