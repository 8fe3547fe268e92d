"""A checking process started ahead: it loads its libraries while the command still reads options and settings.

Both take about a tenth of a second, and most machines have a second core. Without a file in the command's words
that will surely be measured, nothing is started ahead.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence

#: Ends of the names of files that hold bodies and need what measures them.
_BODIES = (".stl", ".3mf", ".obj", ".ply", ".glb")

_spare: list[subprocess.Popen[bytes]] = []


def start(words: Sequence[str]) -> None:
    """Start a checking process if one of the command's words is a file of a body."""
    if any(x.lower().endswith(_BODIES) for x in words):
        _spare.append(_process("bodies"))


def take() -> subprocess.Popen[bytes]:
    """Return the process started ahead, or a new one. It waits for the folders of rules, then for jobs."""
    try:
        return _spare.pop()
    except IndexError:
        return _process()


def stop() -> None:
    """End what was started and not taken."""
    while _spare:
        process = _spare.pop()
        process.kill()
        process.communicate()


def _process(*ahead: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        # -P: the folder that is checked may be a stranger's, and hold a queue.py.
        [sys.executable, "-P", "-m", "lintsvc.commands.checker", *ahead],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
