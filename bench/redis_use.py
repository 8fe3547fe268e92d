"""What a check costs Redis: memory of a waiting call and of a check's events, and the server's processor time.

Run from the checkout: python -m bench.redis_use [checks]. A private server on a unix socket; the calls and events are
those of the service, for a box and for the demo's faulty housing. What is printed is the server's own counting (INFO).
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any
from uuid import uuid4

from lintsvc.demo import write_demo
from lintsvc.model.choices import Choices
from lintsvc.reports.json_report import finding_to_dict
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs
from lintsvc.settings import Settings
from lintsvc.store.embedded_redis import EmbeddedRedis
from lintsvc.store.events import Publisher, connect
from lintsvc.store.queue import Caller

Events = Sequence[tuple[str, Mapping[str, Any]]]


def of_box() -> Events:
    """The events of a check that is over before anybody could look."""
    summary = {"error": 0, "warning": 1, "note": 0, "unreadable": 0, "not_checked": 0}
    return [
        ("state", {"state": "running", "files": 1}),
        ("file", {"file": 0}),
        ("state", {"state": "done", "summary": summary}),
    ]


def of_housing() -> Events:
    """The events of a check with steps and findings."""
    with tempfile.TemporaryDirectory() as folder:
        write_demo(Path(folder))
        path = next(x for x in sorted(Path(folder).rglob("housing.stl")) if "faulty" in x.parts)
        rules = [rule for pack in load_packs(()) for rule in pack.rules]
        report = check_file(path, Choices(), rules).report
    first, *rest = of_box()
    steps = [("step", {"file": 0, "step": f"powder-bed/step-{n}", "percent": 10.0 * n}) for n in range(1, 7)]
    found = [("finding", {"file": 0, "finding": finding_to_dict(x)}) for x in report.findings]
    return [first, *steps, *found, *rest]


class Server:
    """The server's own counting."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def now(self) -> tuple[int, float]:
        """Bytes in use and processor seconds so far."""
        info = self.client.info()
        return int(info["used_memory"]), float(info["used_cpu_user"]) + float(info["used_cpu_sys"])


def each(server: Server, count: int, do: Iterator[object]) -> tuple[float, float]:
    """Bytes and processor microseconds for each of so many things done."""
    time.sleep(0.5)
    memory, used = server.now()
    for _ in do:
        pass
    time.sleep(0.5)
    more, longer = server.now()
    return (more - memory) / count, 1e6 * (longer - used) / count


def main(count: int = 5000) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        embedded = EmbeddedRedis(Path(folder) / "redis")
        embedded.start()
        settings = Settings(state=Path(folder), redis_url=embedded.url)
        client = connect(settings)
        server = Server(client)
        caller, publisher = Caller(settings), Publisher(client)
        try:
            caller.check_now("first")
            calls = (caller.check_now(uuid4().hex, uuid4().hex[:16]) for _ in range(count))
            print("a waiting call: {:.0f} bytes, {:.0f} microseconds of the server".format(*each(server, count, calls)))
            for what, happened in (("box", of_box()), ("faulty housing", of_housing())):
                publisher.publish("first", happened)
                events = (publisher.publish(uuid4().hex, happened) for _ in range(count))
                size, used = each(server, count, iter(events))
                print(f"events of a {what}: {len(happened)}, {size:.0f} bytes, {used:.0f} microseconds of the server")
        finally:
            client.close()
            embedded.stop()


if __name__ == "__main__":
    main(*(int(x) for x in sys.argv[1:]))
