"""Counters and histograms that all processes share: they stand in one Redis hash.

Names and labels are joined into the hash's fields; `lintsvc.web.metrics` turns them into what
Prometheus reads. Without Redis nothing is counted: watching must never stop the work.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import redis

KEY = "lintsvc:metrics"
#: A process sends what it counted this often.
SEND_SECONDS = 1.0
#: Upper bounds of the histograms' buckets: seconds, or MiB.
BUCKETS: Mapping[str, tuple[float, ...]] = {
    "check_seconds": (0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 120),
    "step_seconds": (0.005, 0.01, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30),
    "request_seconds": (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5),
    "peak_mib": (16, 32, 64, 128, 256, 512, 1024, 2048, 4096),
}


def _field(name: str, labels: Mapping[str, str], part: str) -> str:
    said = ",".join(f"{key}={value}" for key, value in sorted(labels.items()))
    return f"{name}|{said}|{part}"


class Tally:
    """What a process counts: added up here, and sent once in a while from a thread of its own. Safe for threads."""

    def __init__(self, client: redis.Redis) -> None:
        self._client = client
        self._lock = threading.Lock()
        self._added: defaultdict[str, float] = defaultdict(float)
        self._stopping = threading.Event()

    def count(self, name: str, **labels: str) -> None:
        """Add one to a counter."""
        with self._lock:
            self._added[_field(name, labels, "count")] += 1

    def measure(self, name: str, value: float, **labels: str) -> None:
        """Add a value to a histogram."""
        bucket = next((f"le {x:g}" for x in BUCKETS[name] if value <= x), "le +Inf")
        with self._lock:
            self._added[_field(name, labels, bucket)] += 1
            self._added[_field(name, labels, "sum")] += value

    def start(self) -> None:
        """Send from now on, until `stop`."""
        threading.Thread(target=self._run, name="tally", daemon=True).start()

    def stop(self) -> None:
        """Send the last."""
        self._stopping.set()
        self.flush()

    def _run(self) -> None:
        while not self._stopping.wait(SEND_SECONDS):
            self.flush()

    def flush(self) -> None:
        """Send what was counted. Without Redis it is lost."""
        with self._lock:
            added, self._added = self._added, defaultdict(float)
        if not added:
            return
        try:
            pipe = self._client.pipeline(transaction=False)
            for field, value in added.items():
                pipe.hincrbyfloat(KEY, field, value)
            pipe.execute()
        except redis.RedisError:
            return


def read(client: redis.Redis) -> dict[tuple[str, tuple[tuple[str, str], ...]], dict[str, float]]:
    """Return all values: (name, labels) to part to value. Raises redis.RedisError."""
    found: dict[tuple[str, tuple[tuple[str, str], ...]], dict[str, float]] = {}
    rows: Any = client.hgetall(KEY)
    for text, value in rows.items():
        name, said, part = text.split("|")
        labels = tuple((x.partition("=")[0], x.partition("=")[2]) for x in said.split(",") if x)
        found.setdefault((name, labels), {})[part] = float(value)
    return found
