"""The Celery tasks, thin: a wake-up call takes the next check, whichever that is."""

from __future__ import annotations

import itertools
import logging
import threading
import time
from functools import partial
from typing import Any

from celery import signals

from lintsvc.settings import Settings
from lintsvc.store import claims
from lintsvc.store.claims import Claim
from lintsvc.store.queue import CHECK, ORDER, RENDER, make_celery
from lintsvc_worker.check_run import Following, run_check
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.order_run import run_order
from lintsvc_worker.render_run import run_render
from lintsvc_worker.watchdog import Activity

log = logging.getLogger(__name__)

settings = Settings.from_environment()
app = make_celery(settings)
#: So long one wake-up call takes checks one after another. A picture that somebody waits for comes in between.
_IN_A_ROW_SECONDS = 0.8
_turns = itertools.count()
activity = Activity()
_context: Context | None = None
_lock = threading.Lock()


def context() -> Context:
    """The process's context, made on first use."""
    global _context
    with _lock:
        if _context is None:
            _context = Context(settings)
        return _context


@app.task(name=CHECK)  # type: ignore[untyped-decorator]
def check(check_id: str, request: str = "") -> None:
    """Take the next check. The id only says which one the call was sent for."""
    here = context()
    with activity.task():
        _take_next(here)


def _take_next(here: Context) -> None:
    """Take the next check; small ones one after another for a moment, so that the queue's pace is not theirs."""
    ends = time.monotonic() + _IN_A_ROW_SECONDS
    claim = again_and_again(here, partial(_claim, here, fair=_fair()))
    while claim is not None:
        log.info("check %s taken", claim.check.id, extra={"request": claim.check.request})
        more = Following(_TERMS, _fair(), lambda: time.monotonic() < ends and not here.stopping.is_set())
        claim = run_check(here, claim, more)
        if claim is None and more.call:
            # Others had their turn; whoever takes this call goes on, or finds nothing.
            here.caller.check_now("")


def _fair() -> bool:
    """Every fourth claim goes by turn alone, so that small files cannot keep big ones waiting for ever."""
    return next(_turns) % 4 == 3


_TERMS = claims.Terms(settings.lease_seconds, settings.deaths)


def _claim(here: Context, *, fair: bool) -> Claim | None:
    return claims.claim_next(here.db, lease_seconds=settings.lease_seconds, deaths=settings.deaths, fair=fair)


@app.task(name=RENDER)  # type: ignore[untyped-decorator]
def render(check_id: str, name: str, number: int, request: str = "") -> None:
    """Make something from a finished check."""
    with activity.task():
        run_render(context(), check_id, name, number)


@app.task(name=ORDER)  # type: ignore[untyped-decorator]
def order(order_id: str, name: str, request: str = "") -> None:
    """Make something of an order."""
    with activity.task():
        run_order(context(), order_id, name)


@signals.worker_shutting_down.connect  # type: ignore[untyped-decorator]
def _on_stop(**_: Any) -> None:
    # What runs gets a little time; then it is handed back.
    timer = threading.Timer(settings.stop_seconds, context().stopping.set)
    timer.daemon = True
    timer.start()


@signals.worker_shutdown.connect  # type: ignore[untyped-decorator]
def _on_end(**_: Any) -> None:
    here = context()
    here.zygote.stop()
    here.tally.stop()
    here.db.dispose()


__all__ = ["app", "check", "order", "render"]
