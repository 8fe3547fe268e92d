"""A process with everything loaded, of which a copy runs each command: `python -m parts.warm_command`.

Loading libraries is most of what a small command costs. A copy of this process has a folder, an environment, files and
an end of its own, as the program started anew would have. In come JSON lines `{"arguments", "cwd", "environment",
"out", "err"}`; for each goes out its process id, and then its exit status. It ends when its input closes.
"""

from __future__ import annotations

import io
import json
import os
import signal
import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any, NoReturn

from lintsvc.model.choices import Choices


def load() -> None:
    """Load all that commands need, by checking a few parts once. Raises SystemExit where copies would not be safe."""
    from lintsvc_worker import warm_up

    from lintsvc import commands, order, packet, reports
    from lintsvc.model.report import Report
    from lintsvc.reports import html
    from lintsvc.rulebook.packs import load_packs

    for package in (commands, order, packet, reports):
        for module in iter_modules(package.__path__, f"{package.__name__}."):
            import_module(module.name)
    rules = [rule for pack in load_packs() for rule in pack.rules]
    parts = [*warm_up._parts(), ("bracket.step", warm_up._step(), Choices())]
    for name, data, choices in parts:
        with warm_up._written(name, data) as path:
            report = warm_up._checked(path, choices, rules)
    html.dumps(Report((report,)))
    threads = len(list(Path("/proc/self/task").iterdir()))
    if threads != 1:
        raise SystemExit(f"the warm process has {threads} threads; copying it would not be safe")


def serve() -> None:
    """Answer until the input closes."""
    answers = os.dup(1)
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    load()
    for line in sys.stdin:
        request = json.loads(line)
        pid = os.fork()
        if pid == 0:
            os.close(answers)
            _ends_with_status(lambda request=request: _command(request))
        os.write(answers, b"%d\n" % pid)
        os.write(answers, b"%d\n" % os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))


def _ends_with_status(work: Callable[[], None]) -> NoReturn:
    """Do the work of a copy and end it: nothing of this process may go on beyond here."""
    status = 1
    try:
        work()
        status = 0
    except SystemExit as error:
        status = error.code if isinstance(error.code, int) else int(error.code is not None)
    except BaseException:  # noqa: BLE001 - nothing of a copy may go on beyond here
        traceback.print_exc()
    finally:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        os._exit(status)


def _command(request: dict[str, Any]) -> None:
    from lintsvc.cli import main
    from lintsvc.commands import ahead

    # A group of its own, so that all of it can be ended.
    os.setpgid(0, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.chdir(request["cwd"])
    os.environ.clear()
    os.environ.update(request["environment"])
    for file, name, flags in (
        (0, os.devnull, os.O_RDONLY),
        (1, request["out"], os.O_WRONLY | os.O_CREAT | os.O_APPEND),
        (2, request["err"], os.O_WRONLY | os.O_CREAT | os.O_APPEND),
    ):
        _becomes(file, os.open(name, flags, 0o600))
    _streams()
    ahead._process = CheckingCopy
    sys.argv = ["lintsvc", *request["arguments"]]
    main()


def _becomes(file: int, opened: int) -> None:
    os.dup2(opened, file)
    os.close(opened)


def _streams() -> None:
    """Standard streams like those that Python makes where they are no terminal."""
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115 - as long as the process lives
    sys.stdout = io.TextIOWrapper(open(1, "wb", closefd=False), encoding="utf-8")  # noqa: SIM115
    sys.stderr = io.TextIOWrapper(
        open(2, "wb", closefd=False),  # noqa: SIM115
        encoding="utf-8",
        errors="backslashreplace",
        line_buffering=True,
    )


class CheckingCopy:
    """A copy of this process that checks files: as much of `subprocess.Popen` as the command uses of one."""

    def __init__(self, *ahead: str) -> None:
        from lintsvc.commands import checker

        jobs_out, jobs_in = os.pipe()
        answers_out, answers_in = os.pipe()
        self.returncode: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            for file, opened in ((0, jobs_out), (1, answers_in), (2, os.open(os.devnull, os.O_WRONLY))):
                _becomes(file, opened)
            os.close(jobs_in)
            os.close(answers_out)
            _streams()
            _ends_with_status(lambda: checker.main(list(ahead)))
        os.close(jobs_out)
        os.close(answers_in)
        self.stdin = os.fdopen(jobs_in, "wb")
        self.stdout = os.fdopen(answers_out, "rb")

    def kill(self) -> None:
        if self.returncode is None:
            os.kill(self.pid, signal.SIGKILL)

    def wait(self) -> int:
        if self.returncode is None:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self.returncode

    def communicate(self) -> None:
        self.stdin.close()
        self.stdout.close()
        self.wait()


if __name__ == "__main__":
    serve()
