"""Running the command as a person does, and small files and packs to run it on."""

from __future__ import annotations

import atexit
import functools
import json
import os
import signal
import struct
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path

from parts import reports

PACK = 'name = "trial"\ntitle = "Trial"\nsummary = "For tests."\n'

RULE = '''"""A rule for tests."""

import os, sys, time
from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, GEOMETRY, Checked, Hit, Where, rule


@rule(
    id="trial/{name}", process="any", kind="any", level="{level}", since="0.1", message="{message}",
    remedy="Do it otherwise.", sources=(GEOMETRY,), worse="present", impossible=True,
)
def check(part: Checked) -> Iterator[Hit]:
    """Trial.

    Measured: nothing.
    Ignore when: always.
    """
    here = Where((1.0, 2.0, 3.0), ((0.0, 0.0, 0.0), (2.0, 4.0, 6.0)), faces=(0, 1))
{body}
    yield from ()
'''


def lintsvc(
    *arguments: str | Path, cwd: Path, seconds: float = 180, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the command and return what came of it. It must end within `seconds`. Its cache is the folder's own.

    It runs in a copy of a process that has its libraries loaded, see `warm_command`; as it is started by a person where
    a setting of Python itself is given, and on other systems than Linux. So many seconds that a busy machine is no
    failure, and few enough that what hangs is.
    """
    if sys.platform != "linux" or any(x.startswith("PYTHON") for x in environment):
        return lintsvc_anew(*arguments, cwd=cwd, seconds=seconds, **environment)
    return _warm().run([str(x) for x in arguments], cwd, seconds, _environment(cwd, environment))


def printed_by(words: list[str], cwd: Path, environment: Mapping[str, str]) -> str:
    """Return what the command prints, both streams together, as a terminal shows them."""
    return _warm().run(words, cwd, 600, os.environ | environment, together=True).stdout


def lintsvc_anew(
    *arguments: str | Path, cwd: Path, seconds: float = 180, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Like `lintsvc`, but started as a person starts it: a test of every command is."""
    return subprocess.run(
        [sys.executable, "-m", "lintsvc.cli", *map(str, arguments)],
        cwd=cwd,
        env=_environment(cwd, environment),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=seconds,
        check=False,
    )


def _environment(cwd: Path, more: Mapping[str, str]) -> dict[str, str]:
    return os.environ | {"XDG_CACHE_HOME": str(cwd / ".cache")} | more


class _Warm:
    """The process that commands are copies of. One a test process; it ends with it."""

    def __init__(self) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="lintsvc-warm-")
        # What it reads of rules is kept in its own folder: a person's cache is no part of the tests.
        env = os.environ | {"XDG_CACHE_HOME": self.folder.name, "PYTHONPATH": os.pathsep.join(sys.path)}
        # Threads of numeric libraries would not be in a copy.
        env |= dict.fromkeys(("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "parts.warm_command"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=env, cwd=self.folder.name,
        )  # fmt: skip
        self.one = threading.Lock()
        atexit.register(self.end)

    def run(
        self,
        arguments: list[str],
        cwd: Path,
        seconds: float,
        environment: dict[str, str],
        *,
        together: bool = False,
    ) -> subprocess.CompletedProcess[str]:
        out, err = (Path(self.folder.name) / x for x in ("out", "out" if together else "err"))
        request = {"arguments": arguments, "cwd": str(cwd), "environment": environment}
        with self.one:
            for path in (out, err):
                path.write_bytes(b"")
            assert self.process.stdin is not None
            self.process.stdin.write(json.dumps({**request, "out": str(out), "err": str(err)}).encode() + b"\n")
            self.process.stdin.flush()
            pid = self._answer()
            late = threading.Timer(seconds, os.killpg, (pid, signal.SIGKILL))
            late.start()
            try:
                status = self._answer()
            finally:
                late.cancel()
            if late.finished.is_set() and status == -signal.SIGKILL:
                raise subprocess.TimeoutExpired(arguments, seconds)
            told = [x.read_bytes().decode("utf-8") for x in (out, err)]
        return subprocess.CompletedProcess(arguments, status, *told)

    def _answer(self) -> int:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise RuntimeError(f"the warm process ended with status {self.process.wait()}")
        return int(line)

    def end(self) -> None:
        self.process.communicate()
        self.folder.cleanup()


_warm = functools.cache(_Warm)


def write_housing(path: Path) -> Path:
    """Write the housing block as a binary STL."""
    body = reports.housing_part().body
    assert body is not None
    triangles = body.vertices[body.faces]
    records = [struct.pack("<12fH", 0, 0, 0, *corners.ravel(), 0) for corners in triangles]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"\0" * 80 + struct.pack("<I", len(records)) + b"".join(records))
    return path


def write_rule(folder: Path, name: str, body: str, *, level: str = "error", message: str = "Found.") -> Path:
    """Add a rule `trial/NAME` to the pack in `folder`, made if need be, and return the folder. `body` is its code."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "pack.toml").write_text(PACK, "utf-8")
    indented = "\n".join("    " + line for line in body.splitlines())
    text = RULE.format(name=name, level=level, message=message, body=indented)
    (folder / f"{name.replace('-', '_')}.py").write_text(text, "utf-8")
    return folder


FINDS = "yield Hit(where=here, limit=None)"
