"""What a child process of ours does first, so that nothing of it outlives the one that started it."""

from __future__ import annotations

import sys

_PR_SET_PDEATHSIG = 1


def end_with_parent() -> None:
    """End this process when its parent does, however that ends; leave no core file. Linux only, else nothing.

    The kernel takes the thread that started this process for its parent: that one has to stay as long.
    """
    if sys.platform != "linux":
        return
    import ctypes
    import resource
    import signal

    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def outlive_parent() -> None:
    """Take back what `end_with_parent` asked for."""
    if sys.platform != "linux":
        return
    import ctypes

    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, 0, 0, 0, 0)
