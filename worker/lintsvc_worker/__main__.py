"""`python -m lintsvc_worker`: run a worker until told to stop."""

from __future__ import annotations

import ctypes
import logging
import os
import signal
import sys

from lintsvc.settings import Settings
from lintsvc.store.logs import set_up_logging

log = logging.getLogger("lintsvc.worker")


def main() -> int:
    """Run a worker. Return its exit status."""
    settings = Settings.from_environment()
    set_up_logging(settings, "worker")
    _end_with_parent()
    from lintsvc.store.sweeping import Sweeper
    from lintsvc_worker.tasks import app, context

    here = context()
    here.db.migrate()
    Sweeper(settings, here.db, here.blobs, here.caller, here.redis).start()
    app.worker_main(
        [
            "worker",
            "--pool=threads",
            f"--concurrency={settings.job_count}",
            "--without-mingle",
            "--without-gossip",
            "--without-heartbeat",
            "--loglevel=WARNING",
            f"--hostname=lintsvc-{os.getpid()}@%h",
        ]
    )
    return 0


def _end_with_parent() -> None:
    """Where the serving process started us, its sudden death is our orderly end."""
    if os.environ.get("LINTSVC_SERVED_BY") == str(os.getppid()):
        ctypes.CDLL(None).prctl(1, signal.SIGTERM, 0, 0, 0)  # PR_SET_PDEATHSIG
        if os.environ["LINTSVC_SERVED_BY"] != str(os.getppid()):
            raise SystemExit("the serving process is gone already")


if __name__ == "__main__":
    sys.exit(main())
