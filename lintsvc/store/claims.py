"""Who checks what: claims with a lease, so that every check ends in exactly one report.

A worker claims a check by a conditional update that writes a secret of its own; it stays alive by
`beat`, and ends it by an update that holds only while the secret still stands. A worker that was
taken for dead and comes back finds its secret gone, and its result is dropped.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import Connection, and_, insert, or_, select, update
from sqlalchemy.sql.elements import ColumnElement

from lintsvc.store.checks import CANCELLED, DONE, FAILED, QUEUED, RUNNING, Check, _read, summarise
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, check_files, checks, results


@dataclass(frozen=True, slots=True)
class Claim:
    """A check in a worker's hands. `give_up`: workers died of it too often; only a report is to be made."""

    check: Check
    secret: str
    give_up: bool


@dataclass(frozen=True, slots=True)
class Artefact:
    """Something made from a file: small things stand in the records (`data`, packed), larger ones in a blob."""

    name: str
    blob: str
    size: int
    data: bytes | None = None


@dataclass(frozen=True, slots=True)
class FileResult:
    """What the check of one file gave. The blobs of `made` are stored already."""

    number: int
    key: str
    summary: Mapping[str, int]
    made: Sequence[Artefact]


def _lease_ran_out(db: Database, lease_seconds: float) -> ColumnElement[bool]:
    # A lease far in the future is no lease but a clock that was set back since.
    return and_(
        checks.c.state == RUNNING,
        or_(checks.c.lease < db.now, checks.c.lease > db.now + 3 * lease_seconds + 60),
    )


def claim_next(db: Database, *, lease_seconds: float, deaths: int, fair: bool = False) -> Claim | None:
    """Take the next check, or None when nothing waits.

    Checks whose worker died come first, then small ones, then by turn. `fair`: by turn alone,
    used for every few claims so that small ones cannot keep big ones waiting for ever.
    """
    order = (checks.c.turn,) if fair else (checks.c.lane, checks.c.turn)
    lost = select(checks.c.id).where(_lease_ran_out(db, lease_seconds)).limit(1)
    waiting = select(checks.c.id).where(checks.c.state == QUEUED).order_by(*order).limit(1)
    with db.writing() as connection:
        check_id = None
        for query in (lost, waiting):
            check_id = connection.execute(query.with_for_update(skip_locked=True)).scalar()
            if check_id is not None:
                break
        if check_id is None:
            return None
        secret = secrets.token_hex(16)
        connection.execute(
            update(checks)
            .where(checks.c.id == check_id)
            .values(state=RUNNING, claim=secret, lease=db.now + lease_seconds, attempts=checks.c.attempts + 1)
        )
        check = _read(connection, check_id)
    assert check is not None  # the row is locked by this transaction
    return Claim(check, secret, check.attempts > deaths)


def beat(
    db: Database, claim: Claim, lease_seconds: float, step: str = "", percent: float = 0.0
) -> Literal["go", "cancelled", "lost"]:
    """Say that the worker lives and how far it is. "lost": the check is somebody else's, or deleted."""
    mine = and_(checks.c.id == claim.check.id, checks.c.claim == claim.secret, checks.c.state == RUNNING)
    with db.writing() as connection:
        kept = connection.execute(
            update(checks).where(mine).values(lease=db.now + lease_seconds, step=step, percent=percent)
        ).rowcount
        cancel = connection.execute(select(checks.c.cancel).where(mine)).scalar()
    if not kept:
        return "lost"
    return "cancelled" if cancel else "go"


def _still_mine(connection: Connection, claim: Claim) -> bool:
    found = connection.execute(
        select(checks.c.id)
        .where(checks.c.id == claim.check.id, checks.c.claim == claim.secret, checks.c.state == RUNNING)
        .with_for_update()
    ).scalar()
    return found is not None


def finish_file(db: Database, claim: Claim, result: FileResult) -> bool:
    """Store the result of one file and link it. Return False when the claim is lost, or the result was there already.

    On False the caller deletes the blobs in `made`: nothing points at them.
    """
    with db.writing() as connection:
        return _still_mine(connection, claim) and _store(db, connection, claim, result)


def _store(db: Database, connection: Connection, claim: Claim, result: FileResult) -> bool:
    key = result.key
    fresh = connection.execute(select(results.c.key).where(results.c.key == key)).scalar() is None
    if fresh:
        connection.execute(insert(results).values(key=key, created=db.now, summary=json.dumps(dict(result.summary))))
        add_artefacts(db, connection, f"result/{key}", result.made)
    connection.execute(
        update(check_files)
        .where(check_files.c.check_id == claim.check.id, check_files.c.number == result.number)
        .values(key=key, result=key)
    )
    return fresh


def link_known(db: Database, claim: Claim, number: int, key: str) -> bool:
    """Use a stored result for a file, where there is one."""
    known = select(results.c.key).where(results.c.key == key)
    with db.reading() as connection:
        if connection.execute(known).scalar() is None:
            return False  # nearly always; no need to wait for a turn to write
    with db.writing() as connection:
        if connection.execute(known).scalar() is None:
            return False
        if not _still_mine(connection, claim):
            return False
        connection.execute(
            update(check_files)
            .where(check_files.c.check_id == claim.check.id, check_files.c.number == number)
            .values(key=key, result=key)
        )
    return True


def add_artefacts(db: Database, connection: Connection, place: str, made: Sequence[Artefact]) -> None:
    """Record what was made. `place` is what it will be purged with."""
    if made:
        connection.execute(
            insert(artefacts).values(created=db.now),
            [{"place": place, "name": x.name, "blob": x.blob, "bytes": x.size, "data": x.data} for x in made],
        )


def finish(
    db: Database, claim: Claim, why: str = "", last: FileResult | None = None
) -> tuple[dict[str, Any] | None, bool]:
    """End a check, done or failed with the reason; with it the result of its last file, in one transaction.

    Return its summary, None when the claim is lost; and whether `last` was stored (see `finish_file`).
    """
    with db.writing() as connection:
        if not _still_mine(connection, claim):
            return None, False
        fresh = last is not None and _store(db, connection, claim, last)
        total = summarise(connection, claim.check.id)
        connection.execute(
            update(checks)
            .where(checks.c.id == claim.check.id)
            .values(state=FAILED if why else DONE, finished=db.now, claim=None, step="", percent=100.0, why=why)
        )
    return dict(total), fresh


def end_cancelled(db: Database, claim: Claim) -> None:
    """End a check that somebody asked to stop."""
    with db.writing() as connection:
        if _still_mine(connection, claim):
            connection.execute(
                update(checks)
                .where(checks.c.id == claim.check.id)
                .values(state=CANCELLED, finished=db.now, claim=None, step="")
            )


def hand_back(db: Database, claim: Claim, *, counts: bool = False) -> None:
    """Put a check back into the queue. `counts`: as after a death; else nobody died, the worker only stops."""
    with db.writing() as connection:
        if _still_mine(connection, claim):
            connection.execute(
                update(checks)
                .where(checks.c.id == claim.check.id)
                .values(state=QUEUED, claim=None, attempts=checks.c.attempts - 1, sent=0.0, step="", percent=0.0)
            )


def to_call_out(db: Database, *, lease_seconds: float, resend_seconds: float, limit: int = 500) -> list[str]:
    """Return ids of checks that nobody works on and whose last wake-up call is long ago; mark them as called.

    Wake-up calls get lost when Redis does; this finds every check again.
    """
    stale = checks.c.sent < db.now - resend_seconds
    # A clock that was set back must not keep a check from being called.
    ahead = checks.c.sent > db.now + 60
    query = (
        select(checks.c.id)
        .where(or_(and_(checks.c.state == QUEUED, or_(stale, ahead)), and_(_lease_ran_out(db, lease_seconds), stale)))
        .limit(limit)
    )
    with db.reading() as connection:
        found = list(connection.execute(query).scalars())
    if not found:
        return []
    with db.writing() as connection:
        connection.execute(update(checks).where(checks.c.id.in_(found)).values(sent=db.now))
    return found
