"""Taking a check into the records: one transaction, its statements made once, for it is what every sender waits for."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import BindParameter, Connection, and_, bindparam, func, insert, literal, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError

from lintsvc.store.checks import DONE, QUEUED, RUNNING, Check, FileOf, add_up, add_usage, read_in
from lintsvc.store.database import Database
from lintsvc.store.tables import blobs, check_files, checks, idempotency, results, usage

#: Up to this size, and this many of one owner at once, checks go ahead of the rest.
SMALL_BYTES, SMALL_COUNT = 8 * 1024 * 1024, 10


@dataclass(frozen=True, slots=True)
class NewCheck:
    """What a check is made from. The files' bytes are stored already."""

    owner: str
    choices: Mapping[str, Any]
    files: Sequence[FileOf]
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


#: Called for each file once its row stands: from then on no purge can take the bytes. Makes sure that they are there.
Assure = Callable[[FileOf], None]


def create_check(db: Database, new: NewCheck, quota: Quota, assure: Assure = lambda _: None) -> tuple[Check, bool]:
    """Make a check; return it, and False when an earlier request with the same key made it already.

    A check whose files all have stored results is done at once.
    Raises QuotaUsedUp, KeyUsedOtherwise, and whatever `assure` does; then nothing was made.
    """
    for last in (False, False, True):
        try:
            with db.writing() as connection:
                if (earlier := _earlier(connection, new)) is not None:
                    return earlier, False
                return _create(db, connection, new, quota, assure), True
        except IntegrityError:
            # Another request with this key, or a purge of the same bytes, in the same instant: look again.
            if last:
                raise
    raise AssertionError("the last try returns or raises")


_EARLIER = select(idempotency.c.check_id, idempotency.c.request).where(
    idempotency.c.owner == bindparam("owner"), idempotency.c.key == bindparam("key")
)


def _earlier(connection: Connection, new: NewCheck) -> Check | None:
    if not new.idempotency_key:
        return None
    row = connection.execute(_EARLIER, {"owner": new.owner, "key": new.idempotency_key}).one_or_none()
    if row is None:
        return None
    if row.request != new.idempotency_request:
        raise KeyUsedOtherwise
    return read_in(connection, row.check_id)


_OWN_WAITING = and_(checks.c.owner == bindparam("owner"), checks.c.state == QUEUED)
_LANE: BindParameter[int] = bindparam("lane")
#: All that has to be known of the queue: one look. What waits is counted no further than the quota.
_STANDING = select(
    select(usage.c.bytes).where(usage.c.owner == bindparam("owner")).scalar_subquery().label("used"),
    select(func.count())
    .select_from(select(literal(1)).where(_OWN_WAITING).limit(bindparam("most")).subquery())
    .scalar_subquery()
    .label("waiting"),
    select(func.count())
    .select_from(select(literal(1)).where(_OWN_WAITING, checks.c.lane == 0).limit(SMALL_COUNT).subquery())
    .scalar_subquery()
    .label("small"),
)
_TURNS = select(
    select(func.max(checks.c.turn)).where(_OWN_WAITING, checks.c.lane == _LANE).scalar_subquery().label("last"),
    select(func.max(checks.c.turn)).where(checks.c.state == RUNNING).scalar_subquery().label("served"),
    select(func.min(checks.c.turn)).where(checks.c.state == QUEUED).scalar_subquery().label("first"),
)
_KNOWN = select(results.c.key, results.c.summary).where(results.c.key.in_(bindparam("keys", expanding=True)))
_INSERT_CHECK, _INSERT_FILE, _INSERT_KEY = insert(checks), insert(check_files), insert(idempotency)
_ADD_BLOB = {
    "sqlite": sqlite.insert(blobs).on_conflict_do_nothing(),
    "postgresql": postgresql.insert(blobs).on_conflict_do_nothing(),
}


def new_id() -> str:
    """An id that cannot be guessed: 160 bits."""
    return secrets.token_urlsafe(20)


def _create(db: Database, connection: Connection, new: NewCheck, quota: Quota, assure: Assure) -> Check:
    now = db.clock(connection)
    size = sum(x.bytes for x in new.files)
    lane, turn = _place(connection, new.owner, size, quota)
    keys = [x.key for x in new.files if x.key]
    known = {x.key: x.summary for x in connection.execute(_KNOWN, {"keys": keys})} if keys else {}
    files = tuple(replace(x, number=n, result=x.key if x.key in known else None) for n, x in enumerate(new.files))
    ready = all(x.result for x in files)
    summary = add_up(known[x.key] for x in files) if ready else None
    row = {
        "id": new_id(),
        "owner": new.owner,
        "state": DONE if ready else QUEUED,
        "created": now,
        "finished": now if ready else None,
        "choices": json.dumps(dict(new.choices), sort_keys=True),
        "files": len(files),
        "bytes": size,
        "lane": lane,
        "turn": turn,
        "request": new.request,
        "percent": 100.0 if ready else 0.0,
        "sent": now,
        "summary": None if summary is None else json.dumps(summary),
    }
    connection.execute(_INSERT_CHECK, row)
    # In one order everywhere, so that two checks of the same files wait for each other only one way.
    rows = [{"sha256": sha256, "bytes": size} for sha256, size in sorted({(x.sha256, x.bytes) for x in files})]
    connection.execute(_ADD_BLOB[connection.dialect.name], rows)
    connection.execute(
        _INSERT_FILE,
        [
            {
                "check_id": row["id"],
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
    for file in files:
        assure(file)
    if new.idempotency_key:
        connection.execute(
            _INSERT_KEY,
            {
                "owner": new.owner,
                "key": new.idempotency_key,
                "request": new.idempotency_request,
                "check_id": row["id"],
                "created": now,
            },
        )
    # Last, for others of this owner wait for this row.
    add_usage(connection, new.owner, size)
    return Check(
        id=str(row["id"]),
        owner=new.owner,
        state=DONE if ready else QUEUED,
        created=now,
        finished=now if ready else None,
        choices=json.loads(str(row["choices"])),
        step="",
        percent=100.0 if ready else 0.0,
        summary=summary,
        why="",
        request=new.request,
        attempts=0,
        files=files,
    )


def _place(connection: Connection, owner: str, size: int, quota: Quota) -> tuple[int, float]:
    """Return lane and turn: start-time fair queueing, the cost of a check growing with its size.

    An owner's next check stands behind their last one; a newcomer stands level with what is being
    served. So a thousand checks of one owner delay another's single check by one check only.
    Raises QuotaUsedUp.
    """
    now = connection.execute(_STANDING, {"owner": owner, "most": quota.waiting}).one()
    if (now.used or 0) + size > quota.bytes:
        raise QuotaUsedUp("the files kept for you are at their limit; delete checks that are no longer needed")
    if now.waiting >= quota.waiting:
        raise QuotaUsedUp("too many of your checks are waiting; send more when some of them are done")
    lane = 0 if size <= SMALL_BYTES and now.small < SMALL_COUNT else 1
    turns = connection.execute(_TURNS, {"owner": owner, "lane": lane}).one()
    served = turns.first if turns.served is None else turns.served
    cost = 1.0 + size / SMALL_BYTES
    return lane, max(served or 0.0, (turns.last or 0.0) + cost)
