"""Ends a worker whose queue has gone quiet although checks wait, or whose stop comes to no end.

A consumer can hang after Redis died in the wrong moment; then the process lives, answers to nobody,
and no wake-up call reaches it. Celery's event loop did (kombu 5.7, Redis killed several times within
a few seconds), which is why the plain loop is used; this is for what has not been seen yet.
In its place another is started. A worker that is told to stop, or whose serving process has died, while Redis is away
may hang in the same way, and then nobody is left to end it.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn

import redis
from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError

from lintsvc.settings import SERVED_BY
from lintsvc.store.checks import QUEUED
from lintsvc.store.tables import checks
from lintsvc_worker.context import Context

log = logging.getLogger(__name__)

_LOOK_SECONDS = 2.0
#: What an orderly stop may take beyond the time that running checks get.
_STOP_SECONDS = 15.0
#: Exit status of a worker that ended itself.
QUIET = 75


class Activity:
    """What the tasks of this process do."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._running = 0
        self._last = time.monotonic()

    @contextmanager
    def task(self) -> Iterator[None]:
        """Around each task."""
        with self._lock:
            self._running += 1
        try:
            yield
        finally:
            with self._lock:
                self._running -= 1
                self._last = time.monotonic()

    def idle_since(self) -> float | None:
        """Since when nothing came, None while something runs."""
        with self._lock:
            return None if self._running else self._last


def watch(context: Context, activity: Activity) -> None:
    """Look again and again; end the process when checks wait, Redis answers, and no call has come for long.

    Once it is to stop: end it where it has not ended by itself in time.
    """
    patience = 3 * context.settings.resend_seconds + 10.0
    well = time.monotonic()
    while not context.stopping.wait(_LOOK_SECONDS) and not _left_alone():
        idle = activity.idle_since()
        if idle is None or not _calls_are_due(context):
            well = time.monotonic()
        elif time.monotonic() - max(well, idle) > patience:
            log.critical("checks wait, and no call has come for %.0f s: the worker ends itself", patience)
            _end(context)
    time.sleep(context.settings.stop_seconds + _STOP_SECONDS)
    log.critical("the stop does not come to an end: the worker ends itself")
    _end(context)


def _end(context: Context) -> NoReturn:
    context.zygote.stop()
    os._exit(QUIET)


def _left_alone() -> bool:
    """True when a serving process has started this one and is gone."""
    return os.environ.get(SERVED_BY, str(os.getppid())) != str(os.getppid())


def _calls_are_due(context: Context) -> bool:
    """True when checks wait and nothing keeps their calls from coming."""
    try:
        context.redis.ping()
        with context.db.reading() as connection:
            waiting = select(func.count()).select_from(checks).where(checks.c.state == QUEUED)
            return bool(connection.execute(waiting).scalar_one())
    except (redis.RedisError, SQLAlchemyError):
        return False


def start(context: Context, activity: Activity) -> None:
    """Watch in a thread of its own."""
    threading.Thread(target=watch, args=(context, activity), name="watchdog", daemon=True).start()
