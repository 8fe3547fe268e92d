"""Child processes of ours: none outlives the one that started it; and work that may crash, done in a copy."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import BinaryIO

_PR_SET_PDEATHSIG = 1


def end_with_parent() -> None:
    """End this process when its parent does, however that ends; leave no core file. Linux only, else nothing.

    The kernel takes the thread that started this process for its parent: that one has to stay as long.
    """
    if sys.platform != "linux":
        return
    import ctypes
    import resource

    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def outlive_parent() -> None:
    """Take back what `end_with_parent` asked for."""
    if sys.platform != "linux":
        return
    import ctypes

    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, 0, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of work in a copy: what it wrote, or with status 1 what went wrong; below zero: ended by a signal."""

    data: bytes
    status: int

    @property
    def how(self) -> str:
        """How it ended, in words."""
        return f"by signal {signal.Signals(-self.status).name}" if self.status < 0 else f"with status {self.status}"


def in_a_copy(work: Callable[[BinaryIO], object]) -> Answer | None:
    """Do something in a copy of this process, so that a crash of native code ends the copy alone; return its answer.

    Nothing has to be sent there, and the kernel ends the copy with this process. None where no copy can be made or,
    on a Mac, is safe: a process with the system's own libraries loaded cannot go on there after it was copied.
    """
    if not hasattr(os, "fork") or sys.platform == "darwin":
        return None
    read, write = os.pipe()
    # Else what is written later is written by both.
    sys.stdout.flush()
    sys.stderr.flush()
    parent = os.getpid()
    try:
        child = os.fork()
    except OSError:
        os.close(read)
        os.close(write)
        return None
    if child == 0:
        _answer(work, write, parent)
    os.close(write)
    try:
        with os.fdopen(read, "rb") as back:
            data = back.read()
    except BaseException:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        raise
    return Answer(data, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))


def _answer(work: Callable[[BinaryIO], object], write: int, parent: int) -> None:
    """Work in the copy, tell, and end it. Never returns."""
    import faulthandler

    status = 1
    try:
        # A crash is told by the parent.
        faulthandler.disable()
        # It ends soon: looking for what can be freed is work for nothing.
        gc.disable()
        end_with_parent()
        # The parent may have ended before the kernel was asked.
        if os.getppid() == parent:
            with os.fdopen(write, "wb") as out, suppress(BrokenPipeError):
                try:
                    work(out)
                    status = 0
                except BaseException as error:  # noqa: BLE001 - the border of the process: told to the one that asked
                    out.write(f"{type(error).__name__}: {error}".encode())
    finally:
        # Without the parent's clean-up: its buffers and files are not ours.
        os._exit(status)
