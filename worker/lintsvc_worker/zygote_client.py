"""The worker's side of the warm processes: start them, give them jobs, start others when one dies or rules change."""

from __future__ import annotations

import itertools
import json
import logging
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from lintsvc_worker.child import PACKS_OFF, made_ahead, needs_all

log = logging.getLogger(__name__)

#: Libraries must start no threads of their own in the warm process, or it could not be forked.
ONE_THREAD = dict.fromkeys(
    ("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "LINTSVC_THREADS"), "1"
)
#: What the warm processes are started with.
#: -P: nothing is loaded from the folder that the service happens to be started in, nor may a child read it.
PROGRAM = [sys.executable, "-P", "-m", "lintsvc_worker.zygote"]
#: Variables that the warm processes get. The keys to the stores are not for them: what a file has taken over could
#: write them into its report.
_GIVEN = frozenset(
    {"HOME", "LANG", "LANGUAGE", "LD_LIBRARY_PATH", "PATH", "TMPDIR", "TZ", "VIRTUAL_ENV", "XDG_CACHE_HOME"}
)
_GIVEN_PREFIXES = ("LC_", "LINTSVC_", "MALLOC_", "MKL_", "NUMBA_", "OMP_", "OPENBLAS_", "PYTHON")
_STORES = frozenset({"LINTSVC_REDIS_URL", "LINTSVC_DATABASE_URL", "LINTSVC_BLOBS", "LINTSVC_S3_ENDPOINT"})
#: A warm process that is not ready by then hangs: compiling everything anew on a slow machine takes a third of it.
WARM_SECONDS = 300.0
#: The second warm process, killed as the first ends, is gone so long before that at most.
_ENDS_WITH_SECONDS = 0.5


#: The second warm process is started once more at once when it does not load, and then after so long, and so on
#: doubled: each try starts both.
_AGAIN_SECONDS, _LONGEST_AGAIN_SECONDS = 30.0, 600.0


class CannotWarmUp(Exception):
    """The warm process does not start. Its own words are in the worker's log."""


class CannotLoadAll(CannotWarmUp):
    """The second warm process does not load, again and again. Checks of meshes and drawings go on."""

    def __init__(self) -> None:
        super().__init__("what STEP files, reports and orders need cannot be loaded; the worker's log says why")


@dataclass(frozen=True, slots=True)
class ChildLimits:
    """What one job may use."""

    seconds: float
    step_seconds: float
    memory_bytes: int
    file_bytes: int
    #: Cores that the jobs of one client share: each takes what those before it leave, one at least.
    cores: int = 1


@dataclass(frozen=True, slots=True)
class Ended:
    """How a job ended: done, killed (by us), for having used too much (time, step, memory, threads, files), crash,
    or gone (the warm process itself died)."""

    how: str
    step: str = ""
    seconds: float = 0.0
    peak_bytes: int = 0
    code: int = 0


Says = Callable[[dict[str, Any]], None]
#: Called several times a second; False stops the job.
Tick = Callable[[], bool]
Mailbox = queue.SimpleQueue[dict[str, Any]]
#: Called when a warm process is ready, or ended before that: which ("checks" or "all"), and "ready" or "failed".
Loaded = Callable[[str, str], None]


class ZygoteClient:
    """The warm processes that are in use. Safe for threads: each runs its own job."""

    def __init__(self, environment: Mapping[str, str] | None = None, loaded: Loaded = lambda *_: None) -> None:
        self._environment = _without_keys({**os.environ, **ONE_THREAD, **(environment or {})})
        self._loaded = loaded
        #: How often in a row the second process did not load, and when it may be tried again.
        self._failed, self._next_try = 0, 0.0
        self._lock = threading.Lock()
        self._warm: _Warm | None = None
        self._numbers = itertools.count(1)
        #: Jobs that run and that somebody waits for.
        self._awaited = 0
        self.version = ""

    def start(self) -> None:
        """Start the warm processes where they do not run. Raises CannotWarmUp."""
        with self._lock:
            self._lane(needs_all=False)

    def _lane(self, *, needs_all: bool) -> _Lane:
        """The process for a job; where it is gone, both are started anew."""
        if self._warm is None or not self._warm.lane(needs_all=False).alive:
            self._use(self._warm_up())
        elif needs_all and not self._warm.lane(needs_all=True).alive:
            if self._failed and time.monotonic() < self._next_try:
                raise CannotLoadAll
            self._use(self._warm_up())
        assert self._warm is not None  # `_use` has just set it
        return self._warm.lane(needs_all=needs_all)

    def _use(self, warm: _Warm) -> None:
        old, self._warm, self.version = self._warm, warm, warm.version
        if old is not None:
            old.retire()

    def _warm_up(self) -> _Warm:
        try:
            warm = _warm_up(self._environment, self._second_loaded)
        except CannotWarmUp:
            self._loaded("checks", "failed")
            raise
        self._loaded("checks", "ready")
        return warm

    def _second_loaded(self, ready: bool) -> None:
        """Told by the one thread that listens to the second process, before anybody who waits for it is."""
        if ready:
            self._failed = 0
        else:
            log.error("the warm process for STEP files, reports and orders ended while it was loading")
            self._failed += 1
            wait = 0.0 if self._failed == 1 else _AGAIN_SECONDS * 2 ** (self._failed - 2)
            self._next_try = time.monotonic() + min(wait, _LONGEST_AGAIN_SECONDS)
        self._loaded("all", "ready" if ready else "failed")

    @property
    def pids(self) -> tuple[int, ...]:
        """Numbers of the warm processes: of the one for checks of meshes and drawings, and of the one for all else."""
        return () if self._warm is None else self._warm.pids

    def renew(self) -> None:
        """Start other warm processes, which read the rules anew, and use them from now on.

        What runs ends in the old ones. Raises CannotWarmUp; then the old ones stay in use.
        """
        fresh = self._warm_up()
        with self._lock:
            self._use(fresh)

    def run(self, job: Mapping[str, Any], scratch: Path, limits: ChildLimits, says: Says, tick: Tick) -> Ended:
        """Run one job to its end. Raises CannotWarmUp, or CannotLoadAll where only such jobs have to wait."""
        box: Mailbox = queue.SimpleQueue()
        number = next(self._numbers)
        ahead = made_ahead(job)
        with self._lock:
            lane = self._lane(needs_all=needs_all(job))
            lane.take(number, box)
            self._awaited += not ahead
            threads = max(1, limits.cores // (self._awaited + ahead))
        try:
            lane.send(
                {
                    "id": number,
                    "job": dict(job),
                    "scratch": str(scratch),
                    "limits": {
                        "seconds": limits.seconds,
                        "step_seconds": limits.step_seconds,
                        "memory_bytes": limits.memory_bytes,
                        "file_bytes": limits.file_bytes,
                        "threads": threads,
                    },
                }
            )
            return _follow(lane, box, number, says, tick)
        finally:
            with self._lock:
                self._awaited -= not ahead
            lane.done(number)

    def stop(self) -> None:
        """End the warm processes and all that they run."""
        with self._lock:
            warm, self._warm = self._warm, None
        if warm is not None:
            warm.stop()


def _without_keys(environment: Mapping[str, str]) -> dict[str, str]:
    return {
        name: value
        for name, value in environment.items()
        if (name in _GIVEN or name.startswith(_GIVEN_PREFIXES)) and name not in _STORES
    }


def _follow(lane: _Lane, box: Mailbox, number: int, says: Says, tick: Tick) -> Ended:
    killed = False
    while True:
        try:
            message = box.get(timeout=0.2)
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
            lane.send({"kill": number})


def _warm_up(environment: Mapping[str, str], second_loaded: Callable[[bool], None]) -> _Warm:
    """Start warm processes; where the service's own packs take them down, without them. Raises CannotWarmUp."""
    try:
        return _Warm(environment, second_loaded)
    except CannotWarmUp as error:
        if not environment.get("LINTSVC_RULES"):
            raise
        log.error("the packs of LINTSVC_RULES are left out: with them %s", error)
        return _Warm({**environment, PACKS_OFF: str(error)}, second_loaded)


class _Warm:
    """Two warm processes. They are started together, and the second ends with the first."""

    def __init__(self, environment: Mapping[str, str], second_loaded: Callable[[bool], None]) -> None:
        (second_in, to_second), (from_second, second_out) = os.pipe(), os.pipe()
        self._process = subprocess.Popen(
            [*PROGRAM, str(second_in), str(second_out)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
            pass_fds=(second_in, second_out),
            start_new_session=True,
        )
        os.close(second_in)
        os.close(second_out)
        assert self._process.stdin is not None and self._process.stdout is not None  # asked for above
        hangs = _after_long(self._process.kill)
        line = self._process.stdout.readline()
        hangs.cancel()
        if not line:
            self._process.kill()
            self._process.communicate()
            os.close(to_second)
            os.close(from_second)
            raise CannotWarmUp("the warm process ended while it was loading")
        ready = json.loads(line)
        self.version: str = ready["version"]
        self.pids: tuple[int, int] = self._process.pid, ready["second"]
        log.info("warm process %d is ready, %d MiB", self._process.pid, ready["bytes"] >> 20)
        self._checks = _Lane(self._process.pid, self._process.stdin, self._process.stdout, self._process.wait)
        self._checks.start()
        self._all_else = _Lane(
            ready["second"], os.fdopen(to_second, "wb"), os.fdopen(from_second, "rb"), loading=self._second_is
        )
        self._second_loaded = second_loaded
        self._all_else.start()

    def _second_is(self, ready: bool) -> None:
        if not ready:
            # The second ends with the first: then nothing is said of its loading. It may be seen to before that is.
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(_ENDS_WITH_SECONDS)
                return
        self._second_loaded(ready)

    def lane(self, *, needs_all: bool) -> _Lane:
        """The process for such jobs."""
        return self._all_else if needs_all else self._checks

    def retire(self) -> None:
        """End the processes when they have no job left."""
        self._all_else.retire(then=self._checks.retire)

    def stop(self) -> None:
        """End the processes and all that they run."""
        self._all_else.close()
        self._checks.close()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._checks.join()
        self._all_else.join()


def _after_long(do: Callable[[], object]) -> threading.Timer:
    """What is done to a process that is not ready by then."""
    timer = threading.Timer(WARM_SECONDS, do)
    timer.daemon = True
    timer.start()
    return timer


class _Lane:
    """The pipes to one warm process, and the jobs that it has."""

    def __init__(
        self,
        pid: int,
        give: IO[bytes],
        take: IO[bytes],
        at_end: Callable[[], object] | None = None,
        loading: Callable[[bool], None] | None = None,
    ) -> None:
        """`loading`: the process is loading still; told whether it is ready or ended before that, unasked."""
        self._pid, self._give, self._take, self._at_end = pid, give, take, at_end
        self._loading = loading
        self.alive = True
        self._lock = threading.Lock()
        self._mailboxes: dict[int, Mailbox] = {}
        self._when_idle: Callable[[], None] | None = None
        self._hangs: threading.Timer | None = None
        self._reader = threading.Thread(target=self._read, name=f"zygote-{pid}", daemon=True)

    def start(self) -> None:
        """Listen to the process from now on."""
        self._reader.start()

    def _loaded(self, ready: bool) -> None:
        if self._hangs is not None:
            self._hangs.cancel()
        with self._lock:
            told, self._loading = self._loading, None
        if told is not None:
            told(ready)

    def _kill(self) -> None:
        with self._lock:
            if self.alive:
                log.error("warm process %d does not get ready and is killed", self._pid)
                os.kill(self._pid, signal.SIGKILL)

    def take(self, number: int, box: Mailbox) -> None:
        """Take a job: what is said of it goes into the box."""
        with self._lock:
            self._mailboxes[number] = box
            alive = self.alive
        if not alive:
            box.put({"event": "exit", "how": "gone"})

    def done(self, number: int) -> None:
        """A job has ended; the last one of a retired process ends that."""
        with self._lock:
            self._mailboxes.pop(number, None)
        self._look_whether_idle()

    def retire(self, then: Callable[[], None] | None = None) -> None:
        """End the process when it has no job left, and do something."""

        def end() -> None:
            self.close()
            if then is not None:
                then()

        with self._lock:
            self._when_idle = end
        self._look_whether_idle()

    def _look_whether_idle(self) -> None:
        with self._lock:
            if self._mailboxes:
                return
            end, self._when_idle = self._when_idle, None
        if end is not None:
            end()

    def close(self) -> None:
        """Have the process leave: it does when its input ends."""
        with self._lock, suppress(BrokenPipeError):
            self._loading = None
            self._give.close()

    def _read(self) -> None:
        for line in self._take:
            message = json.loads(line)
            if message["event"] == "loading":
                self._hangs = _after_long(self._kill)
            elif message["event"] == "ready":
                log.info("warm process %d is ready, %d MiB", self._pid, message["bytes"] >> 20)
                self._loaded(True)
            elif (box := self._mailboxes.get(message["id"])) is not None:
                box.put(message)
        self._loaded(False)
        with self._lock:
            self.alive = False
            lost, self._mailboxes = self._mailboxes, {}
        for box in lost.values():
            box.put({"event": "exit", "how": "gone"})
        if self._at_end is not None:
            self._at_end()
        self._take.close()
        self.close()

    def send(self, message: dict[str, Any]) -> None:
        """Write one message to the process."""
        with self._lock:
            if not self.alive or self._give.closed:
                return  # it died; the reader tells everybody who waits
            try:
                self._give.write(json.dumps(message).encode() + b"\n")
                self._give.flush()
            except BrokenPipeError:
                log.warning("the warm process is gone")

    def join(self) -> None:
        """Wait until all is read that the process said."""
        self._reader.join(5)
