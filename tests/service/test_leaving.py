"""A process that leaves at once has said all that it had to say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def test_what_was_said_is_out_and_the_status_is_given() -> None:
    code = (
        "import logging, sys\nfrom lintsvc.leaving import leave\n"
        "logging.basicConfig(stream=sys.stderr)\nlogging.warning('logged')\nprint('printed')\nleave(7)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (7, "printed\n", "WARNING:root:logged\n")


def test_what_cannot_be_said_any_more_is_no_success() -> None:
    code = "import sys\nfrom lintsvc.leaving import leave\nprint('printed')\nleave(0)"
    with Path("/dev/full").open("wb") as full:
        # Written at the end, as it is by default.
        env = {k: v for k, v in os.environ.items() if k != "PYTHONUNBUFFERED"}
        done = subprocess.run([sys.executable, "-c", code], stdout=full, env=env, timeout=60, check=False)
    assert done.returncode == 120
