"""The service under load: uploads as fast as they come, and what a check costs beside the bare command.

Run from the checkout: python -m bench.service [uploads] [stored]. All traffic is on loopback. Prints the
time to accept an upload, checks a second against as many bare processes, memory before and after, and
the cost a check with `stored` earlier checks in the records.
"""

from __future__ import annotations

import http.client
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from parts.service_parts import box_stl
from service.running import Running, form, processes_of
from sqlalchemy import func, insert, select

from lintsvc.store.database import Database
from lintsvc.store.tables import checks

CLIENTS = 8


@contextmanager
def service(folder: Path, **settings: str) -> Iterator[Running]:
    """A service with an empty state folder."""
    environment = {"LINTSVC_REQUESTS_A_MINUTE": "0", "LINTSVC_QUOTA_WAITING": "1000000", **settings}
    running = Running(folder / "state", environment).start()
    try:
        running.wait_ready()
        yield running
    finally:
        running.stop()


def part(number: int) -> bytes:
    """A box unlike all others."""
    return box_stl(20.0 + number * 0.001, 20.0, 20.0)


def upload(running: Running, numbers: range) -> list[float]:
    """Send the parts with a few clients at once; return how long each took to be accepted."""
    bodies = [form({}, [(f"{n}.stl", part(n))]) for n in numbers]
    waiting: queue.SimpleQueue[tuple[bytes, str]] = queue.SimpleQueue()
    for body in bodies:
        waiting.put(body)
    seconds: list[float] = []

    def client() -> None:
        line = http.client.HTTPConnection("127.0.0.1", running.port, timeout=120)
        while True:
            try:
                body, kind = waiting.get_nowait()
            except queue.Empty:
                line.close()
                return
            started = time.perf_counter()
            line.request("POST", "/api/v1/checks", body, {"Content-Type": kind})
            answer = line.getresponse()
            answer.read()
            seconds.append(time.perf_counter() - started)
            if answer.status != 202:
                raise SystemExit(f"an upload was refused: {answer.status}")

    threads = [threading.Thread(target=client) for _ in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(seconds)


def wait_done(running: Running, count: int) -> None:
    """Wait until so many checks are done."""
    db = Database(f"sqlite:///{running.state / 'records.sqlite3'}")
    query = select(func.count()).select_from(checks).where(checks.c.state.in_(("queued", "running")))
    while True:
        with db.reading() as connection:
            if connection.execute(query).scalar_one() == 0:
                break
        time.sleep(0.2)
    with db.reading() as connection:
        done = connection.execute(select(func.count()).select_from(checks).where(checks.c.state == "done")).scalar_one()
    db.dispose()
    if done != count:
        raise SystemExit(f"{done} of {count} checks are done")


def memory_mib(running: Running) -> dict[str, int]:
    """Resident memory of each process of the service, by its last word."""
    found: dict[str, int] = {}
    for pid in processes_of(running.state):
        try:
            words = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
            pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        except OSError:
            continue
        name = next((x.decode() for x in words if b"lintsvc" in x and b"/" not in x), words[0].decode().split("/")[-1])
        found[name] = found.get(name, 0) + (pages * os.sysconf("SC_PAGE_SIZE") >> 20)
    return found


def bare(folder: Path, count: int) -> float:
    """Checks a second of the command alone, with one process a core."""
    parts = folder / "parts"
    parts.mkdir()
    for number in range(count):
        (parts / f"{number:05d}.stl").write_bytes(part(number))
    command = [sys.executable, "-c", "from lintsvc.cli import main; main()", "check", "--format", "json", "--fail-on",
               "never", str(parts)]  # fmt: skip
    started = time.perf_counter()
    done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(done.stderr)
    return count / (time.perf_counter() - started)


def seed(state: Path, count: int) -> None:
    """Put so many finished checks into the records."""
    db = Database(f"sqlite:///{state / 'records.sqlite3'}")
    db.migrate()
    row = {"owner": "", "state": "done", "choices": "{}", "files": 0, "bytes": 0, "lane": 0, "turn": 1.0}
    now = time.time()
    with db.writing() as connection:
        connection.execute(insert(checks), [{"id": f"old-{n}", "created": now - n, **row} for n in range(count)])
    db.dispose()


def main(uploads: int = 1000, stored: int = 100_000) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with service(folder) as running:
            upload(running, range(10**6, 10**6 + 20))
            wait_done(running, 20)
            before = memory_mib(running)
            started = time.perf_counter()
            seconds = upload(running, range(uploads))
            accepted = time.perf_counter() - started
            wait_done(running, uploads + 20)
            whole = time.perf_counter() - started
            after = memory_mib(running)
        median, p95 = seconds[uploads // 2], seconds[int(0.95 * uploads)]
        print(f"accepted {uploads} uploads at {uploads / accepted:.0f}/s by {CLIENTS} clients: "
              f"median {1000 * median:.0f} ms, p95 {1000 * p95:.0f} ms")  # fmt: skip
        rate = uploads / whole
        alone = bare(folder, uploads)
        print(f"checks: {rate:.1f}/s from the first upload to the last report; the bare command {alone:.1f}/s "
              f"({100 * rate / alone:.0f} %)")  # fmt: skip
        print(f"memory MiB before {before}, after {after}")
    for count in (10, stored):
        with tempfile.TemporaryDirectory() as name:
            (Path(name) / "state").mkdir(mode=0o700)
            seed(Path(name) / "state", count)
            with service(Path(name)) as running:
                for number in range(5):
                    running.check("warm.stl", part(2 * 10**6 + number))
                started = time.perf_counter()
                for number in range(40):
                    running.check("x.stl", part(number))
                each = (time.perf_counter() - started) / 40
            print(f"with {count} checks stored: {1000 * each:.0f} ms a check, one at a time")


if __name__ == "__main__":
    main(*(int(x) for x in sys.argv[1:]))
