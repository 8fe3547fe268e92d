"""What a worker process holds: settings, records, blobs, the queue, events, the warm process."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Literal, TypeVar

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from lintsvc.settings import Settings
from lintsvc.store import claims, events
from lintsvc.store.blobs import Blobs, open_blobs
from lintsvc.store.claims import Claim
from lintsvc.store.database import Database
from lintsvc.store.events import Publisher
from lintsvc.store.metrics import Tally
from lintsvc.store.queue import Caller
from lintsvc_worker.measured import MeasuredShelf
from lintsvc_worker.zygote_client import ZygoteClient

log = logging.getLogger(__name__)

Answer = TypeVar("Answer")


class Context:
    """Made once a worker process."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        # A result that a power cut takes back is worked out once more.
        self.db = Database(settings.sqlalchemy_url, durable=False)
        self.blobs: Blobs = open_blobs(settings.blob_root, settings.s3_endpoint)
        self.redis = events.connect(settings)
        self.events = Publisher(self.redis)
        self.tally = Tally(self.redis)
        self.caller = Caller(settings)
        self.zygote = ZygoteClient(
            settings.to_environment(), lambda of, outcome: self.tally.count("loads", of=of, outcome=outcome)
        )
        self.measured = MeasuredShelf(settings.measured)
        #: Set when what runs is to be handed back.
        self.stopping = threading.Event()

    @property
    def version(self) -> str:
        """Version of packs and code, as the warm process has them loaded."""
        return self.zygote.version

    def beat(self, claim: Claim, step: str, percent: float) -> Literal["go", "cancelled", "lost"]:
        """Keep a claim alive. Without the records the work goes on: they may be back before the lease ends."""
        try:
            return claims.beat(self.db, claim, self.settings.lease_seconds, step, percent)
        except (DBAPIError, PoolTimeout) as error:
            log.warning("the records cannot be reached: %s", error)
            return "go"


def again_and_again(context: Context, do: Callable[[], Answer], seconds: float = 600.0) -> Answer:
    """Do something with the records; while they cannot be reached, wait and try again.

    What a worker has found out is dear: it is not thrown away because PostgreSQL is being restarted.
    Raises the last error after `seconds`, or at once when the worker stops.
    """
    ends = time.monotonic() + seconds
    wait = 0.1
    while True:
        try:
            return do()
        except (DBAPIError, PoolTimeout) as error:
            if isinstance(error, DBAPIError) and not _passing(error):
                raise
            if time.monotonic() > ends or context.stopping.is_set():
                raise
            log.warning("the records cannot be reached, trying again: %s", error)
            time.sleep(wait)
            wait = min(wait * 2, 5.0)


def _passing(error: DBAPIError) -> bool:
    """True for an error that the next try may not meet: no connection, a lock, a full disk."""
    from sqlalchemy.exc import InterfaceError, OperationalError

    return error.connection_invalidated or isinstance(error, (OperationalError, InterfaceError))
