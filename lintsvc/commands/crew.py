"""A few checking processes and the files between them. One that dies, hangs or eats memory costs its file only."""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

from lintsvc.commands import ahead
from lintsvc.commands.jobs import Compiling, Done, Job, Lost, Message, Refused, Step

#: How often a running check is looked at.
LOOK_SECONDS = 0.05
#: The longest that compiling one kernel may take.
COMPILE_SECONDS = 120.0
#: So many rules may be lost before the file is given up.
MOST_LOST = 3
#: A checking process takes a second or two of one core to start; so many files make a further one worth it.
FILES_A_PROCESS = 3


@dataclass(frozen=True, slots=True)
class Bounds:
    """What one file may take, and one step of it: reading, measuring, a rule.

    Memory is watched where the system tells it (Linux).
    """

    seconds: float
    step_seconds: float
    memory_mib: int


def run(jobs: Sequence[Job], rule_folders: Sequence[Path], bounds: Bounds, processes: int = 0) -> Iterator[Message]:
    """Check the files and yield what happens, as it happens: a `Done` or `Lost` for every job, or a `Refused`.

    `processes` 0 means: as many as are worth it. Ends all it started when the caller stops early.
    """
    count = processes or min(_cores(), -(-len(jobs) // FILES_A_PROCESS))
    waiting: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
    for job in jobs:
        waiting.put(job)
    for _ in range(count):
        waiting.put(None)
    heard: queue.SimpleQueue[Message | BaseException] = queue.SimpleQueue()
    members = [_Member(rule_folders, bounds, waiting, heard) for _ in range(count)]
    try:
        for member in members:
            member.start()
        left = len(jobs)
        while left:
            message = heard.get()
            if isinstance(message, BaseException):
                raise message
            yield message
            if isinstance(message, Refused):
                return
            left -= isinstance(message, Done | Lost)
    finally:
        for member in members:
            member.stop()


class _Member(threading.Thread):
    """Takes jobs, one after the other, to one checking process; starts another when it is lost."""

    def __init__(
        self,
        rule_folders: Sequence[Path],
        bounds: Bounds,
        waiting: queue.SimpleQueue[Job | None],
        heard: queue.SimpleQueue[Message | BaseException],
    ) -> None:
        super().__init__(daemon=True)
        self.rule_folders = list(rule_folders)
        self.bounds = bounds
        self.waiting = waiting
        self.heard = heard
        self.process: subprocess.Popen[bytes] | None = None
        self.stopping = False

    def run(self) -> None:
        try:
            while not self.stopping and (job := self.waiting.get()) is not None:
                self._check(job)
        except Exception as error:  # noqa: BLE001 - the border of the thread: the command must hear of it, not wait for ever
            self.heard.put(error)
        finally:
            self._end()

    def stop(self) -> None:
        """End the process, whatever it does. May be called from another thread."""
        self.stopping = True
        if self.process is not None:
            self.process.kill()

    def _check(self, job: Job) -> None:
        """Check one file, again without a rule that took the process down."""
        ends = time.monotonic() + self.bounds.seconds
        while True:
            answer = self._try(job, ends)
            rule = answer.step if isinstance(answer, Lost) and "/" in answer.step else ""
            if self.stopping:
                return
            if not rule or len(job.without) == MOST_LOST or time.monotonic() > ends:
                self.heard.put(answer)
                return
            assert isinstance(answer, Lost)  # only a Lost names a rule
            job = replace(job, without=(*job.without, (rule, f"the rule failed: {answer.why}")))

    def _try(self, job: Job, ends: float) -> Message:
        process = self._start()
        assert process.stdin is not None
        assert process.stdout is not None
        watch = _Watch(process, self.bounds, ends)
        try:
            pickle.dump(job, process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
            process.stdin.flush()
            while isinstance(message := _receive(process.stdout), Step | Compiling):
                if isinstance(message, Step):
                    watch.next_step(message.step)
                else:
                    watch.compiling(message.begins)
                self.heard.put(message)
        except (EOFError, OSError, pickle.UnpicklingError):
            why = watch.end() or _how_it_ended(process)
            self._end()
            return Lost(job.number, watch.step, why)
        watch.end()
        return message

    def _start(self) -> subprocess.Popen[bytes]:
        if self.process is None:
            self.process = ahead.take()
            assert self.process.stdin is not None
            with suppress(OSError):  # one that has ended already is noticed where its answer is awaited
                pickle.dump(self.rule_folders, self.process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
        return self.process

    def _end(self) -> None:
        if self.process is None:
            return
        process, self.process = self.process, None
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):  # what was still to be written cannot be
                    stream.close()


class _Watch(threading.Thread):
    """Looks at one running check, and ends its process when it goes out of bounds."""

    def __init__(self, process: subprocess.Popen[bytes], bounds: Bounds, ends: float) -> None:
        super().__init__(daemon=True)
        self.process = process
        self.bounds = bounds
        self.ends = ends
        self.over = threading.Event()
        self.why = ""
        self.compiling_since = 0.0
        self.next_step("")
        self.start()

    def compiling(self, begins: bool) -> None:
        """Compiling is done once and is nobody's fault: its time is added to what the file and the step may take."""
        if begins:
            self.compiling_since = time.monotonic()
            self.step_ends += COMPILE_SECONDS
            self.ends += COMPILE_SECONDS
        else:
            unused = max(0.0, COMPILE_SECONDS - (time.monotonic() - self.compiling_since))
            self.step_ends -= unused
            self.ends -= unused

    def next_step(self, step: str) -> None:
        """A new step has begun, and has its own time."""
        self.step = step
        self.step_ends = time.monotonic() + self.bounds.step_seconds

    def run(self) -> None:
        while not self.over.wait(LOOK_SECONDS):
            now = time.monotonic()
            if now > self.ends:
                self.why = f"the file took longer than {self.bounds.seconds:g} s"
            elif now > self.step_ends:
                self.why = f"it took longer than {self.bounds.step_seconds:g} s"
            elif _memory_mib(self.process.pid) > self.bounds.memory_mib:
                self.why = f"it needed more than {self.bounds.memory_mib} MiB of memory"
            if self.why:
                self.process.kill()
                return

    def end(self) -> str:
        """Stop watching. Returns why the process was ended, empty when it was not."""
        self.over.set()
        self.join()
        return self.why


def _receive(stream: IO[bytes]) -> Message:
    message = pickle.load(stream)  # noqa: S301 - from the process that we started
    assert isinstance(message, Step | Compiling | Done | Lost | Refused)
    return message


def _how_it_ended(process: subprocess.Popen[bytes]) -> str:
    status = process.wait()
    if status < 0:
        import signal

        with suppress(ValueError):
            return f"the checking process was ended by {signal.Signals(-status).name}"
    return f"the checking process ended with status {status}"


def _memory_mib(pid: int) -> float:
    try:
        fields = Path(f"/proc/{pid}/statm").read_text("ascii").split()
    except OSError:
        return 0.0
    return int(fields[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
