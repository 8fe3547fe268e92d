"""What a web process holds, and how a view gets at it."""

from __future__ import annotations

import threading
import time
from typing import Any, cast

from flask import current_app

from lintsvc.settings import MIB, Settings
from lintsvc.store import events, keeping
from lintsvc.store.accept import Quota
from lintsvc.store.blobs import Blobs, open_blobs
from lintsvc.store.database import Database
from lintsvc.store.metrics import Tally
from lintsvc.store.queue import Caller

#: The catalogue changes when a worker starts or has read changed rules; it is looked at again after this.
_CATALOGUE_SECONDS = 1.0


class Services:
    """Made once a web process."""

    def __init__(self, settings: Settings, *, tokens_needed: bool) -> None:
        self.settings = settings
        self.tokens_needed = tokens_needed
        self.db = Database(settings.sqlalchemy_url)
        self.blobs: Blobs = open_blobs(settings.blob_root, settings.s3_endpoint)
        self.redis = events.connect(settings)
        self.events = events.Publisher(self.redis)
        self.caller = Caller(settings)
        self.tally = Tally(self.redis)
        self._lock = threading.Lock()
        self._catalogue: dict[str, Any] | None = None
        self._catalogue_until = 0.0
        settings.incoming.mkdir(parents=True, exist_ok=True, mode=0o700)

    @property
    def quota(self) -> Quota:
        """What one owner may have."""
        return Quota(self.settings.quota_mib * MIB, self.settings.quota_waiting)

    def catalogue(self) -> dict[str, Any] | None:
        """What the workers say of their rules, None as long as none has started."""
        with self._lock:
            if time.monotonic() >= self._catalogue_until or self._catalogue is None:
                self._catalogue = keeping.fact(self.db, "catalogue")
                self._catalogue_until = time.monotonic() + _CATALOGUE_SECONDS
            return self._catalogue

    def packs_version(self) -> str:
        """Version of the workers' packs, empty as long as none has started."""
        return str((self.catalogue() or {}).get("version", ""))

    def close(self) -> None:
        """Close all connections."""
        self.tally.stop()
        self.db.dispose()
        self.redis.close()


def services() -> Services:
    """The services of the app that serves this request."""
    return cast(Services, current_app.extensions["lintsvc"])
