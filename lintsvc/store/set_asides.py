"""Findings that somebody looked at and decided to live with, kept with the file's content.

They hold for their owner's checks of the same bytes, whatever the file is called, and are put into reports when
these are put together: what was found stays as it was found. They go when the file's bytes go.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, delete, insert, select

from lintsvc.store.checks import FileOf
from lintsvc.store.database import Database
from lintsvc.store.tables import set_asides


@dataclass(frozen=True, slots=True)
class Kept:
    """One decision."""

    sha256: str
    fingerprint: str
    rule: str
    reason: str
    #: Name of the token it was made with; empty without tokens.
    author: str
    created: float

    def shown(self) -> str:
        """Return the reason as reports show it."""
        day = time.strftime("%Y-%m-%d", time.gmtime(self.created))
        return f"{self.reason} ({self.author or 'on the page'}, {day})"


def set_aside(db: Database, owner: str, *, sha256: str, fingerprint: str, rule: str, reason: str, author: str) -> None:
    """Set a finding aside; an earlier reason for the same one is replaced."""
    with db.writing() as connection:
        connection.execute(delete(set_asides).where(*_this(owner, sha256, fingerprint)))
        connection.execute(
            insert(set_asides).values(
                owner=owner,
                sha256=sha256,
                fingerprint=fingerprint,
                rule=rule,
                reason=reason,
                author=author,
                created=db.now,
            )
        )


def take_back(db: Database, owner: str, sha256: str, fingerprint: str) -> bool:
    """Let a finding count again. Return False when it was not set aside."""
    with db.writing() as connection:
        gone = connection.execute(delete(set_asides).where(*_this(owner, sha256, fingerprint))).rowcount
    return bool(gone)


def _this(owner: str, sha256: str, fingerprint: str) -> tuple[Any, ...]:
    return (
        set_asides.c.owner == owner,
        set_asides.c.sha256 == sha256,
        set_asides.c.fingerprint == fingerprint,
    )


def of_files(db: Database, owner: str, files: Iterable[FileOf]) -> list[Kept]:
    """Return what the owner set aside in files of these contents, in a steady order."""
    hashes = sorted({x.sha256 for x in files})
    query = (
        select(set_asides)
        .where(set_asides.c.owner == owner, set_asides.c.sha256.in_(hashes))
        .order_by(set_asides.c.sha256, set_asides.c.fingerprint)
    )
    with db.reading() as connection:
        return [_kept(x) for x in connection.execute(query)]


def _kept(row: Row[Any]) -> Kept:
    return Kept(row.sha256, row.fingerprint, row.rule, row.reason, row.author, row.created)


def apply(parts: Sequence[dict[str, Any]], kept: Sequence[Kept]) -> None:
    """Mark the findings of report entries, as JSON has them, that were set aside."""
    words: Mapping[tuple[str, str, str], str] = {(x.sha256, x.fingerprint, x.rule): x.shown() for x in kept}
    for part in parts if words else ():
        for finding in part["findings"]:
            shown = words.get((part["sha256"], finding["fingerprint"], finding["rule"]))
            if shown is not None:
                finding["set_aside"] = shown


def digest(kept: Sequence[Kept]) -> str:
    """Return a short hash of what is set aside, empty for nothing: a report made with it is another report."""
    if not kept:
        return ""
    return hashlib.sha256(repr([(x.sha256, x.fingerprint, x.shown()) for x in kept]).encode()).hexdigest()[:16]
