"""Share links: who has the secret may look at one check, until it is revoked or expires."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from sqlalchemy import delete, insert, or_, select

from lintsvc.store.database import Database
from lintsvc.store.tables import shares
from lintsvc.store.tokens import hashed


@dataclass(frozen=True, slots=True)
class Share:
    """A share link as the records have it."""

    id: str
    created: float
    expires: float | None


def make_share(db: Database, check_id: str, days: float | None) -> tuple[Share, str]:
    """Make a share link; return it and its secret, which cannot be had again."""
    share_id, secret = secrets.token_hex(6), secrets.token_urlsafe(24)
    with db.writing() as connection:
        expires = None if days is None else db.now + days * 86_400
        connection.execute(
            insert(shares).values(id=share_id, check_id=check_id, hash=hashed(secret), created=db.now, expires=expires)
        )
    return next(x for x in list_shares(db, check_id) if x.id == share_id), secret


def opens(db: Database, secret: str, check_id: str) -> bool:
    """True when the secret is one of a valid share link to this check."""
    query = select(shares.c.id).where(
        shares.c.hash == hashed(secret),
        shares.c.check_id == check_id,
        or_(shares.c.expires.is_(None), shares.c.expires > db.now),
    )
    with db.reading() as connection:
        return connection.execute(query).scalar() is not None


def list_shares(db: Database, check_id: str) -> list[Share]:
    """Return the share links of a check."""
    with db.reading() as connection:
        rows = connection.execute(select(shares).where(shares.c.check_id == check_id).order_by(shares.c.created)).all()
    return [Share(x.id, x.created, x.expires) for x in rows]


def revoke_share(db: Database, check_id: str, share_id: str) -> bool:
    """Delete a share link. Return False when there is none."""
    with db.writing() as connection:
        gone = connection.execute(delete(shares).where(shares.c.id == share_id, shares.c.check_id == check_id)).rowcount
    return bool(gone)
