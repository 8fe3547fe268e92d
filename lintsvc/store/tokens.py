"""Bearer tokens: made by `lintsvc token`, shown once, stored as a hash."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

from sqlalchemy import insert, or_, select, update

from lintsvc.store.database import Database
from lintsvc.store.tables import tokens

#: What a token may do: send and delete its own checks; only look; see everybody's and the metrics.
SCOPES = ("check", "read", "admin")
_PREFIX = "lint_"


@dataclass(frozen=True, slots=True)
class Token:
    """A token as the records have it; the secret itself is nowhere."""

    id: str
    name: str
    scopes: frozenset[str]
    created: float
    expires: float | None
    revoked: float | None


def hashed(secret: str) -> str:
    """Return the hash a secret is stored under. It has 240 random bits, so a plain hash is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def make_token(db: Database, name: str, scopes: frozenset[str], days: float | None) -> tuple[Token, str]:
    """Make a token; return it and its secret, which cannot be had again. Raises ValueError for an unknown scope."""
    if unknown := scopes - set(SCOPES):
        raise ValueError(f"there is no scope {', '.join(sorted(unknown))}; there are {', '.join(SCOPES)}")
    secret = _PREFIX + secrets.token_urlsafe(30)
    token_id = secrets.token_hex(6)
    with db.writing() as connection:
        connection.execute(
            insert(tokens).values(
                id=token_id,
                name=name,
                hash=hashed(secret),
                scopes=" ".join(sorted(scopes)),
                created=db.now,
                expires=None if days is None else db.now + days * 86_400,
            )
        )
    found = next(x for x in list_tokens(db) if x.id == token_id)
    return found, secret


def token_of(db: Database, secret: str) -> Token | None:
    """Return the token with this secret when it is valid now, else None."""
    query = select(tokens).where(
        tokens.c.hash == hashed(secret),
        tokens.c.revoked.is_(None),
        or_(tokens.c.expires.is_(None), tokens.c.expires > db.now),
    )
    with db.reading() as connection:
        row = connection.execute(query).one_or_none()
    if row is None:
        return None
    return Token(row.id, row.name, frozenset(row.scopes.split()), row.created, row.expires, row.revoked)


def list_tokens(db: Database) -> list[Token]:
    """Return all tokens, the newest first."""
    with db.reading() as connection:
        rows = connection.execute(select(tokens).order_by(tokens.c.created.desc())).all()
    return [Token(x.id, x.name, frozenset(x.scopes.split()), x.created, x.expires, x.revoked) for x in rows]


def revoke_token(db: Database, token_id: str) -> bool:
    """Make a token invalid from now on. Return False when there is none to revoke."""
    with db.writing() as connection:
        changed = connection.execute(
            update(tokens).where(tokens.c.id == token_id, tokens.c.revoked.is_(None)).values(revoked=db.now)
        ).rowcount
    return bool(changed)
