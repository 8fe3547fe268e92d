"""Orders in the records: their files, and what was made of them.

An order is never half done: everything is made from its files on demand, and kept beside it until it expires.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Row, delete, func, insert, select

from lintsvc.store import keeping
from lintsvc.store.accept import Quota, QuotaUsedUp, new_id
from lintsvc.store.blobs import Blobs
from lintsvc.store.checks import Deleted, FileOf
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, holds, orders

#: What is made of an order at once, in one run: name to media type.
MADE: Mapping[str, str] = {
    "order.json": "application/json",
    "packet.zip": "application/zip",
    "inspection.pdf": "application/pdf",
    "results.csv": "text/csv; charset=utf-8",
}
#: A 1:1 print of a part: its id, the paper, the offset in µm, and whether holes get crosses.
PRINT = re.compile(r"^print\.([A-Za-z0-9][A-Za-z0-9._-]{0,39})\.(A4|Letter)\.(-?[0-9]{1,6})\.([01])\.pdf$")
#: Results that were sent, and what became of the pieces, both by the hash of the results.
ARRIVAL = re.compile(r"^arrival\.([0-9a-f]{16})\.(csv|json)$")
#: Without a setting for it, orders are kept so long.
_FOR_GOOD_SECONDS = 10 * 366 * 86_400.0


@dataclass(frozen=True, slots=True)
class Order:
    """An order: the order file first, then its parts' files."""

    id: str
    owner: str
    created: float
    expires: float
    files: tuple[FileOf, ...]
    holds: tuple[str, ...]


#: Whoever makes something of an order says so again and again; unheard of for so long, it is taken up anew.
MAKING_SECONDS = 15


def making_key(order_id: str, name: str) -> str:
    """Key in Redis of how far something is that is being made."""
    return f"lintsvc:making:{order_id}:{name}"


def place_of(order_id: str) -> str:
    """Where its artefacts stand."""
    return f"order/{order_id}"


def create_order(
    db: Database, owner: str, files: Sequence[FileOf], sources: keeping.Sources, keep_days: float, quota: Quota
) -> Order:
    """Make an order of files whose bytes are stored. Raises QuotaUsedUp, FileNotFoundError, OSError."""
    size = sum(x.bytes for x in files)
    with db.reading() as connection:
        used = connection.execute(select(func.sum(orders.c.bytes)).where(orders.c.owner == owner)).scalar() or 0
    if used + size > quota.bytes:
        raise QuotaUsedUp(f"your orders may have {quota.bytes >> 20} MiB together; delete old ones")
    seconds = keep_days * 86_400 if keep_days > 0 else _FOR_GOOD_SECONDS
    held = []
    for file in files:
        held.append(keeping.hold(db, file.sha256, file.bytes, seconds))
        # From here on no purge can take the bytes.
        sources.assure(file)
    order_id = new_id()
    told = [{"name": x.name, "sha256": x.sha256, "bytes": x.bytes, "hold": y} for x, y in zip(files, held, strict=True)]
    with db.writing() as connection:
        connection.execute(
            insert(orders).values(
                id=order_id,
                owner=owner,
                created=db.now,
                expires=db.now + seconds,
                files=json.dumps(told),
                bytes=size,
            )
        )
    found = read_order(db, order_id)
    assert found is not None  # inserted above
    return found


def read_order(db: Database, order_id: str) -> Order | None:
    """Return an order, or None."""
    with db.reading() as connection:
        row = connection.execute(select(orders).where(orders.c.id == order_id)).one_or_none()
    return None if row is None else _order_of(row)


def list_orders(db: Database, owner: str | None, limit: int = 100) -> list[Order]:
    """Return an owner's orders, newest first; everybody's for None."""
    chosen = select(orders) if owner is None else select(orders).where(orders.c.owner == owner)
    with db.reading() as connection:
        rows = connection.execute(chosen.order_by(orders.c.created.desc()).limit(limit)).all()
    return [_order_of(x) for x in rows]


def expired_orders(db: Database, limit: int = 200) -> list[str]:
    """Return ids of orders that are kept no longer."""
    with db.reading() as connection:
        return list(connection.execute(select(orders.c.id).where(orders.c.expires <= db.now).limit(limit)).scalars())


def delete_order(db: Database, blobs: Blobs, order_id: str) -> None:
    """Delete an order with all that was made of it; files that nothing else needs go with it."""
    order = read_order(db, order_id)
    if order is None:
        return
    place = place_of(order_id)
    with db.writing() as connection:
        stored = select(artefacts.c.blob).where(artefacts.c.place == place, artefacts.c.blob != "")
        made = tuple(connection.execute(stored).scalars())
        connection.execute(delete(artefacts).where(artefacts.c.place == place))
        connection.execute(delete(holds).where(holds.c.id.in_(order.holds)))
        connection.execute(delete(orders).where(orders.c.id == order_id))
    keeping.purge(db, blobs, Deleted(files=tuple(x.sha256 for x in order.files), blobs=made))


def _order_of(row: Row[tuple[object, ...]]) -> Order:
    told = json.loads(row.files)
    files = tuple(FileOf(n, x["name"], x["sha256"], x["bytes"]) for n, x in enumerate(told))
    return Order(row.id, row.owner, row.created, row.expires, files, tuple(x["hold"] for x in told))
