"""A process that leaves at once has said all that it had to say."""

from __future__ import annotations

import subprocess
import sys


def test_what_was_said_is_out_and_the_status_is_given() -> None:
    code = (
        "import logging, sys\nfrom lintsvc.leaving import leave\n"
        "logging.basicConfig(stream=sys.stderr)\nlogging.warning('logged')\nprint('printed')\nleave(7)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (7, "printed\n", "WARNING:root:logged\n")
