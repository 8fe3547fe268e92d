"""`lintsvc serve`: everything that one machine needs, started together and stopped together."""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

from lintsvc.leaving import leave
from lintsvc.settings import SERVED_BY, Settings
from lintsvc.store.embedded_redis import CannotStart, EmbeddedRedis
from lintsvc.store.logs import set_up_logging
from lintsvc.store.sweeping import Sweeper
from lintsvc.store.tokens import list_tokens
from lintsvc.web.asgi import Web
from lintsvc.web.services import Services

log = logging.getLogger("lintsvc.serve")

#: A worker that dies is started again: at once, and then slower and slower while it keeps dying young.
_LOOK_SECONDS, _YOUNG_SECONDS, _SLOWEST_RESTART_SECONDS = 0.5, 20.0, 30.0


def is_loopback(host: str) -> bool:
    """True for an address that only this machine reaches."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def serve(host: str = "127.0.0.1", port: int = 8080, settings: Settings | None = None) -> int:
    """Serve until told to stop (Ctrl-C or SIGTERM). Return the exit status.

    Port 0 takes a free one. Prints the address on stdout once it answers.
    Raises CannotStart when something that is needed does not start.
    """
    settings = settings or Settings.from_environment()
    set_up_logging(settings, "web")
    tokens_needed = settings.tokens == "required" or (settings.tokens == "auto" and not is_loopback(host))
    if settings.tokens == "off" and not is_loopback(host):
        raise CannotStart(f"{host} can be reached from elsewhere; without tokens only a loopback address is served")
    if settings.rule_code == "auto":
        settings = replace(settings, rule_code="off" if tokens_needed else "on")
    settings.state.mkdir(parents=True, exist_ok=True, mode=0o700)
    with contextlib.ExitStack() as stack:
        if not settings.redis_url:
            embedded = EmbeddedRedis(settings.state / "redis")
            embedded.start()
            stack.callback(embedded.stop)
            settings = replace(settings, redis_url=embedded.url)
        services = Services(settings, tokens_needed=tokens_needed)
        stack.callback(services.close)
        services.db.migrate()
        _prepare(services)
        if tokens_needed and not list_tokens(services.db):
            raise CannotStart(
                f"{host} can be reached from elsewhere and no token exists; make one: lintsvc token make NAME"
            )
        listening = stack.enter_context(_listen(host, port))
        sweeper = Sweeper(settings, services.db, services.blobs, services.caller, services.redis)
        stack.callback(sweeper.stopping.set)
        sweeper.start()
        workers = Workers(settings)
        stack.callback(workers.stop)
        workers.start()
        _run(Web(services), listening, host, at_end=workers.tell_to_stop)
    return 0


def _prepare(services: Services) -> None:
    """Make the bucket for uploads where it is missing. Where that fails the service starts, and is not ready."""
    try:
        services.blobs.prepare()
    except Exception as error:  # noqa: BLE001 - the client library's errors are of many families
        log.error("the store of uploads cannot be used yet: %s", error)


@contextlib.contextmanager
def _listen(host: str, port: int) -> Iterator[socket.socket]:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host.strip("[]"), port))
        except OSError as error:
            raise CannotStart(f"{host} port {port} cannot be used: {error.strerror}; try --port") from None
        yield listening


def _run(web: Web, listening: socket.socket, host: str, at_end: Callable[[], None]) -> None:
    """Serve until told to stop; `at_end` is called before the last requests are waited for."""
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            shown = f"[{host}]" if ":" in host else host
            print(f"lintsvc: http://{shown}:{listening.getsockname()[1]}/", flush=True)

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            at_end()
            await super().shutdown(sockets)

    config = uvicorn.Config(
        web,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=15,
        # Event streams would otherwise hold the stop for ever.
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=32 * 1024,
        limit_concurrency=2_000,
    )
    # The server takes these signals while it runs, stops, and then raises them again for us: we still have to tidy up.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: None)
    Server(config).run(sockets=[listening])


class Workers:
    """Worker processes of this machine: started, watched, started again, stopped."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._processes: list[subprocess.Popen[bytes]] = []
        self._stopping = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="workers", daemon=True)

    def start(self) -> None:
        """Start as many as the settings say."""
        self._processes = [self._start_one() for _ in range(self._settings.workers)]
        if self._processes:
            self._watcher.start()

    def _start_one(self) -> subprocess.Popen[bytes]:
        environment = {**os.environ, **self._settings.to_environment(), SERVED_BY: str(os.getpid())}
        return subprocess.Popen(
            # Not from the folder that this happens to be started in.
            [sys.executable, "-P", "-m", "lintsvc_worker"],
            env=environment,
            stdin=subprocess.DEVNULL,
            start_new_session=True,
        )

    def _watch(self) -> None:
        wait, young_since = _LOOK_SECONDS, time.monotonic()
        while not self._stopping.wait(wait):
            dead = [number for number, process in enumerate(self._processes) if process.poll() is not None]
            if not dead:
                wait = _LOOK_SECONDS
                continue
            now = time.monotonic()
            wait = min(2 * wait, _SLOWEST_RESTART_SECONDS) if now - young_since < _YOUNG_SECONDS else _LOOK_SECONDS
            young_since = now
            for number in dead:
                log.error("worker ended with status %s; another is started", self._processes[number].returncode)
                self._processes[number] = self._start_one()

    def tell_to_stop(self) -> None:
        """Have them finish or hand back what runs; this does not wait for it."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        if self._watcher.is_alive():
            self._watcher.join()
        for process in self._processes:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)

    def stop(self) -> None:
        """Let them finish or hand back what runs, then end them."""
        self.tell_to_stop()
        ends = time.monotonic() + self._settings.stop_seconds + 10.0
        for process in self._processes:
            try:
                process.wait(max(0.1, ends - time.monotonic()))
            except subprocess.TimeoutExpired:
                log.warning("worker %d does not stop and is killed", process.pid)
                process.kill()
                process.wait()


if __name__ == "__main__":
    leave(serve(sys.argv[1], int(sys.argv[2])))
