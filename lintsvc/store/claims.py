"""Who checks what: claims with a lease, so that every check ends in exactly one report.

A worker claims a check by a conditional update that writes a secret of its own; it stays alive by
`beat`, and ends it by an update that holds only while the secret still stands. A worker that was
taken for dead and comes back finds its secret gone, and its result is dropped.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sqlalchemy import Connection, and_, bindparam, insert, or_, select, update

from lintsvc.store.checks import (
    CANCELLED,
    DONE,
    FAILED,
    QUEUED,
    RUNNING,
    Check,
    add_up,
    check_of,
    files_of,
    summaries_in,
)
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


#: A worker that was not heard of. A lease far in the future is no lease but a clock that was set back since.
_LEASE_RAN_OUT = and_(
    checks.c.state == RUNNING,
    or_(checks.c.lease < bindparam("now"), checks.c.lease > bindparam("now") + bindparam("far")),
)


def _far(lease_seconds: float) -> float:
    return 3 * lease_seconds + 60


#: Statements of every check, made once.
_LOST = select(checks).where(_LEASE_RAN_OUT).limit(1).with_for_update(skip_locked=True)
_WAITING, _WAITING_FAIR = (
    select(checks).where(checks.c.state == QUEUED).order_by(*order).limit(1).with_for_update(skip_locked=True)
    for order in ((checks.c.lane, checks.c.turn), (checks.c.turn,))
)
_TAKE = (
    update(checks)
    .where(checks.c.id == bindparam("check"))
    .values(
        state=RUNNING,
        claim=bindparam("secret"),
        lease=bindparam("until"),
        attempts=checks.c.attempts + 1,
    )
)


@dataclass(frozen=True, slots=True)
class Terms:
    """How claims are made: how long a lease is, and how many deaths give a check up."""

    lease_seconds: float
    deaths: int


def claim_next(db: Database, *, lease_seconds: float, deaths: int, fair: bool = False) -> Claim | None:
    """Take the next check, or None when nothing waits.

    Checks whose worker died come first, then small ones, then by turn. `fair`: by turn alone,
    used for every few claims so that small ones cannot keep big ones waiting for ever.
    """
    with db.writing() as connection:
        return _claim_in(db, connection, Terms(lease_seconds, deaths), fair=fair)


def _claim_in(db: Database, connection: Connection, terms: Terms, *, fair: bool) -> Claim | None:
    now = db.clock(connection)
    row = connection.execute(_LOST, {"now": now, "far": _far(terms.lease_seconds)}).one_or_none()
    if row is None:
        row = connection.execute(_WAITING_FAIR if fair else _WAITING).one_or_none()
    if row is None:
        return None
    secret = secrets.token_hex(16)
    connection.execute(_TAKE, {"check": row.id, "secret": secret, "until": now + terms.lease_seconds})
    taken = check_of(row, files_of(connection, [row.id])[row.id])
    check = replace(taken, state=RUNNING, attempts=taken.attempts + 1)
    return Claim(check, secret, check.attempts > terms.deaths)


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


_MINE = (
    select(checks.c.id)
    .where(checks.c.id == bindparam("check"), checks.c.claim == bindparam("secret"), checks.c.state == RUNNING)
    .with_for_update()
)


def _still_mine(connection: Connection, claim: Claim) -> bool:
    return connection.execute(_MINE, {"check": claim.check.id, "secret": claim.secret}).scalar() is not None


def finish_file(db: Database, claim: Claim, result: FileResult) -> bool:
    """Store the result of one file and link it. Return False when the claim is lost, or the result was there already.

    On False the caller deletes the blobs in `made`: nothing points at them.
    """
    with db.writing() as connection:
        return _still_mine(connection, claim) and _store(connection, claim, result)


_FRESH = select(results.c.key).where(results.c.key == bindparam("key"))
_INSERT_RESULT, _INSERT_MADE = insert(results), insert(artefacts)
_LINK = (
    update(check_files)
    .where(check_files.c.check_id == bindparam("check"), check_files.c.number == bindparam("file"))
    .values(key=bindparam("result_key"), result=bindparam("result_key"))
)


def _store(connection: Connection, claim: Claim, result: FileResult) -> bool:
    key = result.key
    fresh = connection.execute(_FRESH, {"key": key}).scalar() is None
    if fresh:
        now = time.time()
        connection.execute(_INSERT_RESULT, {"key": key, "created": now, "summary": json.dumps(dict(result.summary))})
        add_artefacts(connection, f"result/{key}", result.made)
    connection.execute(_LINK, {"check": claim.check.id, "file": result.number, "result_key": key})
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
        connection.execute(_LINK, {"check": claim.check.id, "file": number, "result_key": key})
    return True


def add_artefacts(connection: Connection, place: str, made: Sequence[Artefact]) -> None:
    """Record what was made. `place` is what it will be purged with."""
    now = time.time()
    if made:
        connection.execute(
            _INSERT_MADE,
            [
                {"place": place, "name": x.name, "blob": x.blob, "bytes": x.size, "data": x.data, "created": now}
                for x in made
            ],
        )


_FINISH = (
    update(checks)
    .where(checks.c.id == bindparam("check"))
    .values(
        state=bindparam("ended"), finished=bindparam("at"), claim=None, step="", percent=100.0,
        why=bindparam("reason"), summary=bindparam("total"),
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finished:
    """How a check ended: its summary, None when the claim was lost; whether the last file's result was stored
    (see `finish_file`); and the next check, taken in the same transaction, where one was asked for and one waits."""

    total: dict[str, int] | None
    stored: bool
    following: Claim | None = None


def finish(
    db: Database,
    claim: Claim,
    why: str = "",
    last: FileResult | None = None,
    *,
    then_claim: Terms | None = None,
    fair: bool = False,
) -> Finished:
    """End a check, done or failed with the reason; with it the result of its last file, in one transaction."""
    with db.writing() as connection:
        if not _still_mine(connection, claim):
            return Finished(None, False)
        stored = last is not None and _store(connection, claim, last)
        total = add_up(summaries_in(connection, claim.check.id))
        now = db.clock(connection)
        connection.execute(
            _FINISH,
            {
                "check": claim.check.id,
                "ended": FAILED if why else DONE,
                "at": now,
                "reason": why,
                "total": json.dumps(total),
            },
        )
        following = None if then_claim is None else _claim_in(db, connection, then_claim, fair=fair)
    return Finished(total, stored, following)


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
                .values(
                    state=QUEUED,
                    claim=None,
                    attempts=checks.c.attempts - (0 if counts else 1),
                    sent=0.0,
                    step="",
                    percent=0.0,
                )
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
        .where(or_(and_(checks.c.state == QUEUED, or_(stale, ahead)), and_(_LEASE_RAN_OUT, stale)))
        .limit(limit)
    )
    with db.reading() as connection:
        times = {"now": db.clock(connection), "far": _far(lease_seconds)}
        found = list(connection.execute(query, times).scalars())
    if not found:
        return []
    with db.writing() as connection:
        connection.execute(update(checks).where(checks.c.id.in_(found)).values(sent=db.now))
    return found
