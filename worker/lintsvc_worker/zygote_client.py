"""The worker's side of the warm process: start it, give it jobs, start another when it dies."""

from __future__ import annotations

import itertools
import json
import logging
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

log = logging.getLogger(__name__)

#: Libraries must start no threads of their own in the warm process, or it could not be forked.
ONE_THREAD = dict.fromkeys(
    ("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "LINTSVC_THREADS"), "1"
)


class CannotWarmUp(Exception):
    """The warm process does not start. Its own words are in the worker's log."""


@dataclass(frozen=True, slots=True)
class ChildLimits:
    """What one job may use."""

    seconds: float
    step_seconds: float
    memory_bytes: int
    file_bytes: int


@dataclass(frozen=True, slots=True)
class Ended:
    """How a job ended: done, killed (by us), time, step, memory, crash, or gone (the warm process itself died)."""

    how: str
    step: str = ""
    seconds: float = 0.0
    peak_bytes: int = 0
    code: int = 0


Says = Callable[[dict[str, Any]], None]
#: Called about once a second; False stops the job.
Tick = Callable[[], bool]


class ZygoteClient:
    """One warm process. Safe for threads: each runs its own job."""

    def __init__(self, environment: Mapping[str, str] | None = None) -> None:
        self._environment = {**os.environ, **ONE_THREAD, **(environment or {})}
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._reader: threading.Thread | None = None
        self._mailboxes: dict[int, queue.SimpleQueue[dict[str, Any]]] = {}
        self._numbers = itertools.count(1)
        self.version = ""

    def start(self) -> None:
        """Start the warm process where it does not run. Raises CannotWarmUp."""
        with self._lock:
            self._start()

    def _start(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        process = subprocess.Popen(
            [sys.executable, "-m", "lintsvc_worker.zygote"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=self._environment,
            start_new_session=True,
        )
        assert process.stdout is not None  # asked for above
        line = process.stdout.readline()
        if not line:
            process.kill()
            process.communicate()
            raise CannotWarmUp("the warm process ended while it was loading")
        ready = json.loads(line)
        self.version = ready["version"]
        log.info("warm process %d is ready, %d MiB", process.pid, ready["bytes"] >> 20)
        self._process = process
        self._reader = threading.Thread(target=self._read, args=(process,), name="zygote-reader", daemon=True)
        self._reader.start()

    def _read(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stdout is not None  # asked for in _start
        for line in process.stdout:
            message = json.loads(line)
            if (box := self._mailboxes.get(message["id"])) is not None:
                box.put(message)
        with self._lock:
            if self._process is process:
                self._process = None
            lost, self._mailboxes = self._mailboxes, {}
        for box in lost.values():
            box.put({"event": "exit", "how": "gone"})
        process.wait()
        process.stdout.close()
        if process.stdin is not None:
            with suppress(BrokenPipeError):
                process.stdin.close()

    def run(self, job: Mapping[str, Any], scratch: Path, limits: ChildLimits, says: Says, tick: Tick) -> Ended:
        """Run one job to its end. Raises CannotWarmUp."""
        box: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        number = next(self._numbers)
        with self._lock:
            self._start()
            self._mailboxes[number] = box
            self._send(
                {
                    "id": number,
                    "job": dict(job),
                    "scratch": str(scratch),
                    "limits": {
                        "seconds": limits.seconds,
                        "step_seconds": limits.step_seconds,
                        "memory_bytes": limits.memory_bytes,
                        "file_bytes": limits.file_bytes,
                    },
                }
            )
        try:
            return self._follow(box, number, says, tick)
        finally:
            self._mailboxes.pop(number, None)

    def _follow(self, box: queue.SimpleQueue[dict[str, Any]], number: int, says: Says, tick: Tick) -> Ended:
        killed = False
        while True:
            try:
                message = box.get(timeout=1.0)
            except queue.Empty:
                message = {}
            if message.get("event") == "exit":
                return Ended(
                    how=message["how"],
                    step=message.get("step", ""),
                    seconds=message.get("seconds", 0.0),
                    peak_bytes=message.get("peak_bytes", 0),
                    code=message.get("code", 0),
                )
            if message.get("event") == "says":
                says(message["line"])
            if not killed and not tick():
                killed = True
                with self._lock:
                    self._send({"kill": number})

    def _send(self, message: dict[str, Any]) -> None:
        if self._process is None or self._process.stdin is None:
            return  # it died; the reader tells everybody who waits
        try:
            self._process.stdin.write(json.dumps(message).encode() + b"\n")
            self._process.stdin.flush()
        except BrokenPipeError:
            log.warning("the warm process is gone")

    def stop(self) -> None:
        """End the warm process and all that it runs."""
        with self._lock:
            process = self._process
            if process is None or process.stdin is None:
                return
            with suppress(BrokenPipeError):
                process.stdin.close()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if self._reader is not None:
            self._reader.join(5)
