"""The service under load, against the bare command on the same files with as many processes, both warm.

Run from the checkout: python -m bench.service [uploads]. All traffic is on loopback. For the demo's parts, and for
boxes of 12 triangles as the worst case, it prints the time to accept an upload, checks a second and processor time
a check (which does not depend on what else the machine does), memory before and after; then two workers against one,
beside what two cores gave to two processes that only count.
"""

from __future__ import annotations

import http.client
import os
import queue
import resource
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

import redis
from lintsvc_worker.zygote_client import ChildLimits, ZygoteClient
from parts.service_parts import box_stl
from service.running import Running, form, processes_of
from sqlalchemy import func, select

from lintsvc.demo import write_demo
from lintsvc.store import metrics
from lintsvc.store.database import Database
from lintsvc.store.tables import checks

CLIENTS = 8


@contextmanager
def service(folder: Path, *, ready: bool = True, **settings: str) -> Iterator[Running]:
    """A service with an empty state folder."""
    environment = {"LINTSVC_REQUESTS_A_MINUTE": "0", "LINTSVC_QUOTA_WAITING": "1000000",
                   "LINTSVC_LATER_SECONDS": "3", **settings}  # fmt: skip
    running = Running(folder / "state", environment).start()
    try:
        if ready:
            running.wait_ready()
        yield running
    finally:
        running.stop()


def box(number: int) -> bytes:
    """A box unlike all others."""
    return box_stl(20.0 + number * 0.001, 20.0, 20.0)


def demo_parts() -> Callable[[int], tuple[str, bytes]]:
    """The demo's parts in turn, each time with other bytes that say nothing: an STL header, a DXF comment."""
    with tempfile.TemporaryDirectory() as name:
        write_demo(Path(name))
        files = [(x.name, x.read_bytes()) for x in sorted(Path(name).rglob("*")) if x.suffix in (".stl", ".dxf")]

    def make(number: int) -> tuple[str, bytes]:
        file, data = files[number % len(files)]
        mark = f"{number:010d}".encode()
        return file, mark + data[10:] if file.endswith(".stl") else b"999\n" + mark + b"\n" + data

    return make


def boxes(number: int) -> tuple[str, bytes]:
    """A box as an upload."""
    return f"{number}.stl", box(number)


def upload(running: Running, numbers: range, make: Callable[[int], tuple[str, bytes]]) -> list[float]:
    """Send the parts with a few clients at once; return how long each took to be accepted, sorted."""
    waiting: queue.SimpleQueue[int] = queue.SimpleQueue()
    for number in numbers:
        waiting.put(number)
    seconds: list[float] = []

    def client() -> None:
        line = http.client.HTTPConnection("127.0.0.1", running.port, timeout=120)
        while True:
            try:
                body, kind = form({}, [make(waiting.get_nowait())])
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
        time.sleep(0.1)
    with db.reading() as connection:
        done = connection.execute(select(func.count()).select_from(checks).where(checks.c.state == "done")).scalar_one()
    db.dispose()
    if done != count:
        raise SystemExit(f"{done} of {count} checks are done")


def _named(state: Path) -> Iterator[tuple[str, int]]:
    """The service's processes by what they are."""
    for pid in processes_of(state):
        with suppress(OSError):
            words = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
            found = (x.decode() for x in words if b"lintsvc" in x and b"/" not in x)
            yield next(found, words[0].decode().split("/")[-1]), pid


def processor_ms(state: Path) -> dict[str, float]:
    """Processor time that each process of the service has used so far; "children" are those that have ended."""
    found: dict[str, float] = defaultdict(float)
    for name, pid in _named(state):
        with suppress(OSError):
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
            own, ended = int(fields[11]) + int(fields[12]), int(fields[13]) + int(fields[14])
            found[name] += 1000 * own / os.sysconf("SC_CLK_TCK")
            found["children"] += 1000 * ended / os.sysconf("SC_CLK_TCK")
    return found


def memory_mib(state: Path) -> dict[str, int]:
    """Resident memory of each process of the service."""
    found: dict[str, int] = defaultdict(int)
    for name, pid in _named(state):
        with suppress(OSError):
            pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
            found[name] += pages * os.sysconf("SC_PAGE_SIZE") >> 20
    return dict(found)


def bare(folder: Path, count: int, make: Callable[[int], tuple[str, bytes]]) -> tuple[float, float]:
    """Seconds and processor milliseconds for one more file by the command alone, its start and warming up left out."""
    taken = []
    for files in (count // 10, count):
        parts = folder / f"parts-{files}"
        parts.mkdir()
        for number in range(files):
            name, data = make(number)
            (parts / f"{number:05d}{Path(name).suffix}").write_bytes(data)
        command = [sys.executable, "-c", "from lintsvc.cli import main; main()", "check", "--format", "json",
                   "--no-cache", "--fail-on", "never", str(parts)]  # fmt: skip
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        started = time.perf_counter()
        done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
        if done.returncode != 0:
            raise SystemExit(done.stderr)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        taken.append((time.perf_counter() - started, used))
    (few_wall, few_used), (wall, used) = taken
    more = count - count // 10
    return (wall - few_wall) / more, 1000 * (used - few_used) / more


def load(what: str, uploads: int, make: Callable[[int], tuple[str, bytes]]) -> None:
    """Measure the service and the bare command on these files, and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with service(folder) as running:
            upload(running, range(10**6, 10**6 + 30), make)
            wait_done(running, 30)
            wait_warm(f"unix://{running.state / 'redis' / 'redis.sock'}", 1)
            before, used = memory_mib(running.state), processor_ms(running.state)
            started = time.perf_counter()
            seconds = upload(running, range(uploads), make)
            accepted = time.perf_counter() - started
            wait_done(running, uploads + 30)
            each = (time.perf_counter() - started) / uploads
            after = memory_mib(running.state)
            costs = {k: (v - used.get(k, 0.0)) / uploads for k, v in processor_ms(running.state).items()}
        alone, alone_ms = bare(folder, uploads, make)
    total = sum(costs.values())
    print(f"{what}: {uploads} uploads accepted at {uploads / accepted:.0f}/s by {CLIENTS} clients: median "
          f"{1000 * seconds[uploads // 2]:.0f} ms, p95 {1000 * seconds[int(0.95 * uploads)]:.0f} ms")  # fmt: skip
    print(f"  checks: {1 / each:.1f}/s from the first upload to the last report; the bare command "
          f"{1 / alone:.1f}/s ({100 * alone / each:.0f} %)")  # fmt: skip
    print(f"  processor ms a check: {total:.1f} ({', '.join(f'{k} {v:.1f}' for k, v in costs.items())}); "
          f"the bare command {alone_ms:.1f} ({100 * alone_ms / total:.0f} %)")  # fmt: skip
    print(f"  memory MiB before {before}, after {after}", flush=True)


def fence(repeats: int = 40) -> tuple[float, float]:
    """Median and least milliseconds from a job to the end of its fenced child that does nothing."""
    client = ZygoteClient()
    client.start()
    limits, taken = ChildLimits(60, 60, 1 << 30, 1 << 26), []
    try:
        for _ in range(repeats):
            with tempfile.TemporaryDirectory() as name:
                Path(name).chmod(0o711)
                started = time.perf_counter()
                ended = client.run({"task": "nothing"}, Path(name), limits, lambda _: None, lambda: True)
                taken.append(1000 * (time.perf_counter() - started))
                if ended.how != "done":
                    raise SystemExit(f"the fenced child ended in {ended.how}")
    finally:
        client.stop()
    return statistics.median(taken), min(taken)


def cores_give(seconds: float = 2.0) -> float:
    """How much more two processes that only count get done than one does, here and now."""
    count = f"import time\nends = time.monotonic() + {seconds}\nn = 0\nwhile time.monotonic() < ends: n += 1\nprint(n)"

    def counted(processes: int) -> int:
        started = [
            subprocess.Popen([sys.executable, "-c", count], stdout=subprocess.PIPE, text=True) for _ in range(processes)
        ]
        return sum(int(x.communicate()[0]) for x in started)

    return counted(2) / counted(1)


def wait_warm(redis_url: str, count: int, seconds: float = 600.0) -> None:
    """Wait until so many workers have both their warm processes ready: what is measured is not what they load."""
    client = redis.Redis.from_url(redis_url, decode_responses=True)
    ends = time.monotonic() + seconds
    wanted = ("loads", (("of", "all"), ("outcome", "ready")))
    while metrics.read(client).get(wanted, {}).get("count", 0) < count:
        if time.monotonic() > ends:
            raise SystemExit(f"the workers were not wholly warm after {seconds:g} s")
        time.sleep(0.2)
    client.close()


def workers(count: int, parts: int, make: Callable[[int], tuple[str, bytes]], jobs: int = 1) -> float:
    """Checks a second by so many workers of so many jobs each, wholly warm, from a queue that is full already."""
    with tempfile.TemporaryDirectory() as name, service(Path(name), ready=False, LINTSVC_WORKERS="0") as running:
        url = f"unix://{running.state / 'redis' / 'redis.sock'}"
        environment = {**os.environ, "LINTSVC_STATE": str(running.state), "LINTSVC_JOBS": str(jobs),
                       "LINTSVC_REDIS_URL": url}  # fmt: skip
        started = [
            subprocess.Popen([sys.executable, "-m", "lintsvc_worker"], env=environment, stderr=subprocess.DEVNULL)
            for _ in range(count)
        ]
        try:
            wait_warm(url, count)
            # They stand still while the queue is filled, which is somebody else's work.
            for process in started:
                process.send_signal(signal.SIGSTOP)
            upload(running, range(parts), make)
            began = time.perf_counter()
            for process in started:
                process.send_signal(signal.SIGCONT)
            wait_done(running, parts)
            return parts / (time.perf_counter() - began)
        finally:
            for process in started:
                process.terminate()
            for process in started:
                process.wait(60)


def main(uploads: int = 1000) -> None:
    """Measure and print."""
    demo = demo_parts()
    median, least = fence()
    print(f"a fenced child that does nothing: median {median:.0f} ms from job to end, least {least:.0f} ms", flush=True)
    load("the demo's parts", uploads, demo)
    load("boxes of 12 triangles", uploads, boxes)
    few = max(40, uploads // 8)
    allowed = cores_give()
    one, two, double = workers(1, few, demo), workers(2, few, demo), workers(1, few, demo, jobs=2)
    allowed = (allowed + cores_give()) / 2
    print(f"two workers {two:.1f}/s, one {one:.1f}/s: {two / one:.2f} times, where the machine gave two processes that "
          f"only count {allowed:.2f} times what it gave one (load {os.getloadavg()[0]:.1f} on "
          f"{len(os.sched_getaffinity(0))} cores); one worker of two jobs {double:.1f}/s")  # fmt: skip


if __name__ == "__main__":
    main(*(int(x) for x in sys.argv[1:]))
