"""The sweeper: finds what got lost and purges what is old. Runs in every serving process and worker.

All of it is safe to run in many places at once: each step is a conditional change of the records.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

import redis
from sqlalchemy.exc import SQLAlchemyError

from lintsvc.settings import Settings
from lintsvc.store import checks, claims, events, keeping, orders, purge_clock, stray, uploads
from lintsvc.store.blobs import Blobs
from lintsvc.store.database import Database
from lintsvc.store.queue import Caller

log = logging.getLogger(__name__)

#: Old checks and unused uploads are looked for this often.
PURGE_SECONDS = 300.0
#: What was measured outlives its check by so long at most.
MEASURED_SECONDS = 900.0
#: So many wake-up calls are sent in one round.
MOST_CALLS = 64


class Sweeper:
    """Calls out waiting checks again; purges expired ones."""

    def __init__(self, settings: Settings, db: Database, blobs: Blobs, caller: Caller, client: redis.Redis) -> None:
        self.settings, self.db, self.blobs, self.caller, self.client = settings, db, blobs, caller, client
        self.stopping = threading.Event()
        self._next_purge = time.monotonic() + 5.0

    def call_out(self) -> int:
        """Send wake-up calls for checks that nobody works on. Return how many."""
        found = claims.to_call_out(
            self.db, lease_seconds=self.settings.lease_seconds, resend_seconds=self.settings.resend_seconds
        )
        # A worker that is awake takes check after check: not each needs a call of its own.
        for check_id in found[:MOST_CALLS]:
            if not self.caller.check_now(check_id):
                break  # the queue is away; the next round tries again
        return len(found)

    def purge(self) -> int:
        """Delete checks that are older than the settings keep them, with all they leave. Return how many."""
        count = 0
        if not purge_clock.may_purge(self.db):
            return count
        if self.settings.keep_days > 0:
            while found := checks.expired_checks(self.db, self.settings.keep_days * 86_400):
                delete_and_purge(self.db, self.blobs, self.client, found)
                count += len(found)
        for order_id in orders.expired_orders(self.db):
            orders.delete_order(self.db, self.blobs, order_id)
            events.forget(self.client, order_id)
        for upload in uploads.expired_uploads(self.db):
            uploads.drop_upload(self.db, self.blobs, upload.id)
            if upload.sha256 is not None:
                keeping.purge(self.db, self.blobs, checks.Deleted(files=(upload.sha256,)))
        keeping.purge_unused(self.db, self.blobs)
        for folder in (self.settings.incoming, self.settings.scratch):
            stray.sweep_folder(folder)
        stray.sweep_folder(self.settings.measured, MEASURED_SECONDS)
        if stray.is_time(self.db):
            stray.sweep(self.db, self.blobs)
        self.db.forget_deleted()
        return count

    def run(self) -> None:
        """Sweep until stopped."""
        while not self.stopping.wait(min(2.0, self.settings.resend_seconds / 2)):
            self._safely(self.call_out)
            if time.monotonic() >= self._next_purge:
                self._next_purge = time.monotonic() + PURGE_SECONDS
                self._safely(self.purge)

    def _safely(self, do: Callable[[], int]) -> None:
        try:
            do()
        except (SQLAlchemyError, OSError, redis.RedisError) as error:
            log.warning("sweeping has to wait: %s", str(error).splitlines()[0])

    def start(self) -> threading.Thread:
        """Run in a thread of its own."""
        thread = threading.Thread(target=self.run, name="sweeper", daemon=True)
        thread.start()
        return thread


def delete_and_purge(db: Database, blobs: Blobs, client: redis.Redis, ids: list[str]) -> None:
    """Delete checks for good: records, uploads, results, events."""
    left = checks.delete_checks(db, ids)
    keeping.purge(db, blobs, left)
    for check_id in ids:
        events.forget(client, check_id)
