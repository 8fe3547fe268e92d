"""A PostgreSQL server of the tests' own, on a unix socket in a temporary folder."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path


def program(name: str) -> str:
    """Return the path of a PostgreSQL program: on the PATH, or where Debian puts it."""
    if found := shutil.which(name):
        return found
    for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True):
        if (folder / name).exists():
            return str(folder / name)
    raise AssertionError(f"PostgreSQL's {name} was not found; install the package postgresql")


class Postgres:
    """One cluster. PostgreSQL refuses root, so that under root it runs as nobody."""

    def __init__(self) -> None:
        # A short path: the socket's address holds about a hundred bytes.
        self.folder = Path(tempfile.mkdtemp(prefix="lintsvc-pg-"))
        # The socket in it is for whoever asks; PostgreSQL itself shuts the data's folder.
        self.folder.chmod(0o755)
        self.user: str | None = None
        if os.getuid() == 0:
            self.user = "nobody"
            shutil.chown(self.folder, "nobody")
        self.data = self.folder / "data"
        self._run([program("initdb"), "-D", str(self.data), "-A", "trust", "-U", "lintsvc", "-E", "UTF8", "--no-sync"])
        self.process: subprocess.Popen[bytes] | None = None
        self.start()
        self._run([program("createdb"), "-h", str(self.folder), "-U", "lintsvc", "lintsvc"])

    @property
    def url(self) -> str:
        """Address as the settings take it."""
        return f"postgresql://lintsvc@/lintsvc?host={self.folder}"

    def _run(self, command: list[str]) -> None:
        done = subprocess.run(command, capture_output=True, text=True, user=self.user, cwd=self.folder, timeout=120)
        assert done.returncode == 0, done.stderr

    def start(self) -> None:
        """Start the server and wait until it answers."""
        self.process = subprocess.Popen(
            [program("postgres"), "-D", str(self.data), "-k", str(self.folder), "-c", "listen_addresses=",
             "-c", "max_connections=200"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, user=self.user, cwd=self.folder,
        )  # fmt: skip
        ready = [program("pg_isready"), "-q", "-h", str(self.folder), "-U", "lintsvc"]
        ends = time.monotonic() + 60
        while subprocess.run(ready, check=False).returncode != 0:
            assert time.monotonic() < ends, "PostgreSQL does not answer"
            time.sleep(0.05)

    def kill(self) -> None:
        """A sudden death of all its processes."""
        assert self.process is not None
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        for pid in [self.process.pid, *(int(x) for x in children)]:
            os.kill(pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """Stop the server and delete the cluster."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(30)
        shutil.rmtree(self.folder)
