"""`python -m lintsvc_worker`: run a worker until told to stop."""

from __future__ import annotations

import ctypes
import faulthandler
import logging
import os
import signal
import socket
import warnings
from pathlib import Path

import lintsvc
from lintsvc.leaving import leave
from lintsvc.settings import SERVED_BY, Settings
from lintsvc.store.logs import set_up_logging

log = logging.getLogger("lintsvc.worker")


def main() -> int:
    """Run a worker. Return its exit status."""
    settings = Settings.from_environment()
    set_up_logging(settings, "worker")
    # What every thread is at, into the log: for a worker that seems to hang.
    faulthandler.register(signal.SIGUSR2)
    _end_with_parent()
    if not os.access(Path(lintsvc.__file__).parent, os.W_OK):
        # Compiled code goes where something can be written.
        os.environ.setdefault("NUMBA_CACHE_DIR", str(settings.state / "compiled"))
    from lintsvc.store.sweeping import Sweeper
    from lintsvc_worker import watchdog
    from lintsvc_worker.catalogue_run import store_catalogue
    from lintsvc_worker.context import again_and_again
    from lintsvc_worker.reloading import Watcher
    from lintsvc_worker.tasks import activity, app, context
    from lintsvc_worker.zygote_client import CannotWarmUp

    here = context()
    here.db.migrate()
    # Before the rules are loaded: what changes from now on is seen.
    watcher = Watcher(here)
    try:
        here.zygote.start()
        again_and_again(here, lambda: store_catalogue(here))
    except CannotWarmUp as error:
        log.error("the worker cannot start: %s", error)
        return 1
    Sweeper(settings, here.db, here.blobs, here.caller, here.redis).start()
    watchdog.start(here, activity)
    if settings.rule_folders:
        watcher.start()
    here.tally.start()
    # Celery warns of root; the children that touch a stranger's bytes are not root, see `fence`.
    warnings.filterwarnings("ignore", module="celery.platforms")
    running = app.Worker(
        pool_cls="threads",
        concurrency=settings.job_count,
        hostname=f"lintsvc-{os.getpid()}@{socket.gethostname()}",
        loglevel="WARNING",
        quiet=True,
        without_mingle=True,
        without_gossip=True,
        without_heartbeat=True,
        # The plain loop: the event loop hangs when Redis dies while it reconnects (seen with kombu 5.7).
        use_eventloop=False,
        consumer_cls="lintsvc_worker.consumer:BriskConsumer",
    )
    running.start()
    return int(running.exitcode or 0)


def _end_with_parent() -> None:
    """Where the serving process started us, its sudden death is our orderly end."""
    if os.environ.get(SERVED_BY) == str(os.getppid()):
        ctypes.CDLL(None).prctl(1, signal.SIGTERM, 0, 0, 0)  # PR_SET_PDEATHSIG
        if os.environ[SERVED_BY] != str(os.getppid()):
            raise SystemExit("the serving process is gone already")


if __name__ == "__main__":
    leave(main())
