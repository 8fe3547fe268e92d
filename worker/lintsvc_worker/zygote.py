"""The warm processes: everything imported once, one fenced child forked for each job.

Started by `zygote_client` with `python -m lintsvc_worker.zygote IN OUT`. There are two, because a fork costs as much
as the process holds: the first has what checks of meshes and drawings need. It forks the second, which talks through
the open files IN and OUT and loads the rest while the first is at work already; see `child.needs_all`. The second
ends with the first. Each has one thread, so that forking is safe. Messages are JSON lines. In: `{"id", "job": {…},
"scratch", "limits": {…}}` or `{"kill": id}`. Out: `{"event": "ready", "version", "bytes", "second"}` (the second's
number, told by the first), `{"event": "loading"}` (the second begins to), `{"event": "says", "id", "line": {…}}` and
`{"event": "exit", "id", "how": "done|killed|time|step|memory|threads|files|crash",
"step", "seconds", "peak_bytes"}`. When its
input closes, the worker is gone: it kills its children and leaves.
"""

from __future__ import annotations

import fcntl
import gc
import json
import os
import select
import signal
import sys
import time
import traceback
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from lintsvc.child_process import end_with_parent, outlive_parent
from lintsvc.settings import Settings
from lintsvc_worker import child, fence, huge_pages, seccomp

#: How often a running child's memory is looked at.
_LOOK_SECONDS = 0.05
#: What the processes are called in a list of all that run.
CHILD_NAME, _FIRST_NAME, _SECOND_NAME = "lintsvc-child", "lintsvc-warm", "lintsvc-all"
#: The priority of a child that checks, and of one that works ahead, stands so far below the service's own processes.
_POLITE, _LAST = 5, 19
#: A child that writes longer lines than this says nothing we want to hear, nor one that says more than this in all.
_LONGEST_LINE, _MOST_SAID = 1 << 20, 8 << 20
#: Libraries are told to start none.
_MOST_THREADS = 256
#: All that a child writes may be so many times its largest file, in so many files and folders.
_MOST_FILES, _MOST_ENTRIES = 2, 2_000
#: Address space beyond what is mapped: a backstop far above the memory that is watched.
_ADDRESS_HEADROOM = 4 << 30


@dataclass
class Running:
    """A child at work."""

    id: int
    pipe: int
    started: float
    ends: float
    step_seconds: float
    step_ends: float
    memory_bytes: int
    scratch: Path
    #: What the folder may hold: what lay there at the start, and what may be written.
    written_bytes: int
    #: File that the child writes the name of each step into, one a line; and how long it was when last looked at.
    steps: int
    steps_size: int = 0
    peak_bytes: int = 0
    why: str = ""
    silent: bool = False
    said_bytes: int = 0
    unread: bytes = field(default=b"", repr=False)


class Zygote:
    """The loop: take jobs, fork, watch, tell."""

    def __init__(self, read: list[Path], *, as_nobody: bool) -> None:
        self.read = read
        self.as_nobody = as_nobody
        self.running: dict[int, Running] = {}
        # Pages that the children share with us are no use of theirs.
        self.own_bytes = fence.used(os.getpid()).bytes
        self.unread = b""
        self.closing = False
        self.next_look = 0.0

    def tell(self, **message: Any) -> None:
        """Write one message to the worker."""
        try:
            sys.stdout.write(json.dumps(message) + "\n")
            sys.stdout.flush()
        except BrokenPipeError:
            self._leave()

    def _leave(self) -> NoReturn:
        for pid in self.running:
            _kill_group(pid)
        os._exit(0)

    def loop(self) -> None:
        """Serve until the input closes and the last child is gone."""
        wake_read, wake_write = os.pipe()
        for end in (wake_read, wake_write):
            os.set_blocking(end, False)
        signal.set_wakeup_fd(wake_write)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        while not (self.closing and not self.running):
            waits = [wake_read, *(x.pipe for x in self.running.values() if not x.silent)]
            if not self.closing:
                waits.append(0)
            ready, _, _ = select.select(waits, [], [], _LOOK_SECONDS if self.running else None)
            if wake_read in ready:
                with suppress(BlockingIOError):
                    os.read(wake_read, 4096)
            for job in list(self.running.values()):
                if job.pipe in ready:
                    self._listen(job)
            if 0 in ready:
                self._take()
            self._watch()

    def _take(self) -> None:
        data = os.read(0, 1 << 16)
        if not data:
            self.closing = True
            for pid in self.running:
                _kill_group(pid)
            return
        *lines, self.unread = (self.unread + data).split(b"\n")
        for line in lines:
            message = json.loads(line)
            if "kill" in message:
                for pid, job in self.running.items():
                    if job.id == message["kill"]:
                        self._kill(pid, job, "killed")
            else:
                self._fork(message)

    def _fork(self, message: dict[str, Any]) -> None:
        listen, speak = os.pipe()
        steps = os.open(
            Path(message["scratch"]) / STEPS, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_APPEND | os.O_NOFOLLOW, 0o600
        )
        scratch = Path(message["scratch"])
        given = fence.written(scratch, _MOST_ENTRIES)
        now = time.monotonic()
        limits = message["limits"]
        pid = os.fork()
        if pid == 0:
            os.close(listen)
            self._be_child(message, speak, steps)
        os.close(speak)
        os.set_blocking(listen, False)
        with suppress(OSError):
            os.setpgid(pid, pid)  # the child does the same; whoever comes first
        self.running[pid] = Running(
            id=message["id"],
            pipe=listen,
            started=now,
            ends=now + limits["seconds"],
            step_seconds=limits["step_seconds"],
            step_ends=now + limits["step_seconds"],
            memory_bytes=limits["memory_bytes"],
            scratch=scratch,
            written_bytes=given.bytes + _MOST_FILES * limits["file_bytes"],
            steps=steps,
        )

    def _be_child(self, message: dict[str, Any], speak: int, steps: int) -> NoReturn:
        status = 70
        try:
            os.setpgid(0, 0)
            fence.name_process(CHILD_NAME)
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            # Whoever sends, looks or waits for a picture goes first, then whoever waits for a check.
            if child.made_ahead(message["job"]):
                os.nice(_LAST)
            elif message["job"]["task"] == "check":
                os.nice(_POLITE)
            scratch = Path(message["scratch"])
            _only_these_files(scratch, speak, steps)
            limits = message["limits"]
            # The warm process has one thread, or it could not be forked; its child may have more.
            os.environ["LINTSVC_THREADS"] = str(limits["threads"])
            held = fence.enter(
                scratch,
                self.read,
                fence.Limits(
                    cpu_seconds=int(limits["seconds"]) * limits["threads"] + 5,
                    file_bytes=limits["file_bytes"],
                    address_bytes=limits["memory_bytes"] + _ADDRESS_HEADROOM,
                ),
                as_nobody=self.as_nobody,
            )
            child.run(message["job"], Path.cwd(), child.Say(_SPEAK, _STEPS), held)
            status = 0
        except MemoryError:
            status = 71
        except BaseException:  # noqa: BLE001 - the border of the process: whatever it is goes into its log, and no further
            traceback.print_exc()
            status = 72
        finally:
            with suppress(BaseException):
                sys.stderr.flush()
            # No exit handlers, no destructors: they belong to the zygote.
            os._exit(status)

    def _listen(self, job: Running) -> None:
        try:
            data = os.read(job.pipe, 1 << 16)
        except BlockingIOError:
            return
        # It has closed its end and is about to leave, of which a signal tells. A closed pipe is always ready.
        job.silent = not data
        job.said_bytes += len(data)
        if job.said_bytes > _MOST_SAID:
            return  # what it said so far is told; the rest would fill the memory of all who listen
        *lines, job.unread = (job.unread + data).split(b"\n")
        if len(job.unread) > _LONGEST_LINE:
            job.unread = b""
        for line in lines:
            try:
                said = json.loads(line)
            except ValueError:
                continue
            if isinstance(said, dict):
                self.tell(event="says", id=job.id, line=said)

    def _kill(self, pid: int, job: Running, why: str) -> None:
        job.why = job.why or why
        _kill_group(pid)

    def _watch(self) -> None:
        now = time.monotonic()
        look = now >= self.next_look
        if look:
            self.next_look = now + _LOOK_SECONDS
        for pid, job in list(self.running.items()):
            ended, status, used = os.wait4(pid, os.WNOHANG)
            if ended:
                self._ended(pid, job, status, used.ru_maxrss * 1024, now)
                continue
            if job.why or not look:
                continue
            size = os.fstat(job.steps).st_size
            if size != job.steps_size:
                job.steps_size, job.step_ends = size, now + job.step_seconds
            holds = fence.used(pid)
            memory = holds.bytes - self.own_bytes
            job.peak_bytes = max(job.peak_bytes, memory)
            if memory > job.memory_bytes:
                self._kill(pid, job, "memory")
            elif holds.threads > _MOST_THREADS:
                self._kill(pid, job, "threads")
            elif _too_much(fence.written(job.scratch, _MOST_ENTRIES), job.written_bytes):
                self._kill(pid, job, "files")
            elif now > job.ends:
                self._kill(pid, job, "time")
            elif now > job.step_ends:
                self._kill(pid, job, "step")

    def _ended(self, pid: int, job: Running, status: int, highest_bytes: int, now: float) -> None:
        _kill_group(pid)  # whatever it may have left
        while (data := _read_rest(job.pipe)) is not None:
            job.said_bytes += len(data)
            if job.said_bytes <= _MOST_SAID:
                job.unread += data
        self._listen_rest(job)
        os.close(job.pipe)
        step = _last_line(job.steps)
        os.close(job.steps)
        del self.running[pid]
        code = os.waitstatus_to_exitcode(status)
        how = job.why or _how(code)
        self.tell(
            event="exit",
            id=job.id,
            how=how,
            code=code,
            step=step,
            seconds=round(now - job.started, 4),
            peak_bytes=max(job.peak_bytes, highest_bytes - self.own_bytes),
        )

    def _listen_rest(self, job: Running) -> None:
        """Relay what the child said last, before it ended."""
        for line in job.unread.split(b"\n"):
            with suppress(ValueError):
                said = json.loads(line)
                if isinstance(said, dict):
                    self.tell(event="says", id=job.id, line=said)


def _too_much(written: fence.Written, most_bytes: int) -> bool:
    return written.bytes > most_bytes or written.entries > _MOST_ENTRIES


def _last_line(file: int) -> str:
    """The last step that the child began."""
    size = os.fstat(file).st_size
    tail = os.pread(file, 400, max(0, size - 400)).decode("utf-8", "replace").splitlines()
    return tail[-1][:200] if tail else "start"


def _how(code: int) -> str:
    if code == 0:
        return "done"
    if code == 71:
        return "memory"
    return "time" if code == -signal.SIGXCPU else "crash"


def _read_rest(pipe: int) -> bytes | None:
    try:
        return os.read(pipe, 1 << 16) or None
    except BlockingIOError:
        return None


def _kill_group(pid: int) -> None:
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)
    with suppress(ProcessLookupError, PermissionError):
        os.kill(pid, signal.SIGKILL)


#: The child's end of its pipe, and the file of its steps, whatever numbers they were made with.
_SPEAK, _STEPS = 3, 4
#: Name of that file.
STEPS = "steps"


def _only_these_files(scratch: Path, speak: int, steps: int) -> None:
    """Leave the child nothing open but a log in its scratch folder, its pipe and its steps."""
    null = os.open("/dev/null", os.O_RDWR)
    log = os.open(scratch / "log", os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600)
    # Out of the way first: one of them may have the other's number.
    kept = [fcntl.fcntl(x, fcntl.F_DUPFD, 64) for x in (speak, steps)]
    for old, new in ((null, 0), (log, 1), (log, 2), (kept[0], _SPEAK), (kept[1], _STEPS)):
        os.dup2(old, new)
    os.closerange(_STEPS + 1, 4096)


def main(second_in: int, second_out: int) -> None:
    """Warm up, say so, and serve."""
    # The worker decides when to stop; a Ctrl-C in the terminal is not for us.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Until then nobody listens at the input, where the worker's end shows.
    end_with_parent()
    # Whatever the packs print is not for the worker, which expects messages.
    out = os.dup(1)
    os.dup2(2, 1)
    seccomp.written()
    version = child.warm()
    _settle()
    huge_pages.collapse()
    fence.name_process(_FIRST_NAME)
    second = os.fork()
    if second == 0:
        fence.name_process(_SECOND_NAME)
        os.dup2(second_in, 0)
        os.dup2(second_out, out)
        end_with_parent()
        # What comes in the first moments after a start has the machine to itself.
        select.select([0], [], [], Settings.from_environment().later_seconds)
        os.write(out, b'{"event": "loading"}\n')
        child.warm_all()
        _settle()
    else:
        outlive_parent()
    os.dup2(out, 1)
    for file in (out, second_in, second_out):
        os.close(file)
    folders: list[str | Path] = [*fence.code_folders(sys.path), *child.read_folders()]
    read = fence.library_folders([sys.prefix, sys.base_prefix], folders)
    needed = [Path(sys.prefix), Path(sys.base_prefix), *(Path(x) for x in child.read_folders())]
    zygote = Zygote(read, as_nobody=fence.nobody_can_read(needed))
    zygote.tell(event="ready", version=version, bytes=zygote.own_bytes, second=second)
    zygote.loop()
    if second:
        # The worker waits for us alone.
        os.kill(second, signal.SIGKILL)
        os.waitpid(second, 0)


def _settle() -> None:
    """Make this process ready to be forked. Raises SystemExit where that would not be safe."""
    gc.collect()
    gc.freeze()  # the collector would touch, and so copy, every page in each child
    threads = len(list(Path("/proc/self/task").iterdir()))
    if threads != 1:
        raise SystemExit(f"the warm process has {threads} threads; forking it would not be safe")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
