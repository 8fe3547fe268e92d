"""Purging after the clock has leapt: one that is set wrongly must not delete what was to be kept.

Nobody can tell a clock that was set far ahead from a service that was off for long. So where the clock is more than a
day ahead of the last look, nothing is purged for an hour: until then a wrong clock is set right, most of the time.
"""

from __future__ import annotations

import logging

from sqlalchemy.exc import IntegrityError

from lintsvc.store import keeping
from lintsvc.store.database import Database

log = logging.getLogger(__name__)

LEAP_SECONDS, WAIT_SECONDS = 86_400.0, 3_600.0
_FACT = "purge"


def may_purge(db: Database) -> bool:
    """Look at the clock, and remember it. False: what is old by it is not to be deleted yet."""
    told = keeping.fact(db, _FACT) or {}
    with db.reading() as connection:
        now = db.clock(connection)
    passed = now - told.get("seen", now)
    left: float = max(0.0, told.get("left", 0.0) - max(0.0, passed))
    if passed > LEAP_SECONDS:
        left = WAIT_SECONDS
        log.warning("the clock is %.1f days ahead of the last look: nothing is purged for an hour", passed / 86_400)
    try:
        keeping.set_fact(db, _FACT, {"seen": now, "left": left})
    except IntegrityError:
        return False  # another process looks in this instant
    return left == 0.0
