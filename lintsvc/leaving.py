"""The end of a process that has nothing left to do."""

from __future__ import annotations

import logging
import os
import sys
from typing import NoReturn


def leave(status: int) -> NoReturn:
    """End the process at once, when all that it had open is closed.

    Python would first take apart all that is loaded, object by object: half a second that somebody waits for.
    """
    logging.shutdown()
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            # What was to be said is lost: that is no success. Python's own status for it.
            status = status or 120
    os._exit(status)
