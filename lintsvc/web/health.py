"""For whoever watches: alive, ready, metrics."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from typing import Any

import redis
from flask import Blueprint, Response
from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError

from lintsvc.store import metrics
from lintsvc.store.checks import QUEUED
from lintsvc.store.tables import checks
from lintsvc.web.auth import asker
from lintsvc.web.checks_api import json_answer
from lintsvc.web.incoming import RESERVE_BYTES
from lintsvc.web.services import Services, services

health = Blueprint("health", __name__)


@health.get("/healthz")
def alive() -> Response:
    """This process answers."""
    return json_answer({"alive": True})


@health.get("/readyz")
def ready() -> Response:
    """All that this process needs is there; otherwise 503 and what is not."""
    found = readiness(services())
    return json_answer(
        {"ready": not any(found.values()), "missing": {k: v for k, v in found.items() if v}},
        503 if any(found.values()) else 200,
    )


def readiness(here: Services) -> dict[str, str]:
    """Return each thing that is needed with what is wrong with it, empty for nothing."""
    found = {"records": "", "queue": "", "storage": "", "worker": ""}
    try:
        with here.db.reading() as connection:
            connection.execute(select(1))
        if here.catalogue() is None:
            found["worker"] = "no worker has started yet"
    except SQLAlchemyError:
        found["records"] = "the database does not answer"
    try:
        here.redis.ping()
    except redis.RedisError:
        found["queue"] = "Redis does not answer"
    try:
        if shutil.disk_usage(here.settings.incoming).free < RESERVE_BYTES:
            found["storage"] = "the disk is full"
        elif not here.blobs.reachable():
            found["storage"] = "the store of uploads does not answer"
    except OSError:
        found["storage"] = "the state folder cannot be reached"
    return found


@health.get("/metrics")
def prometheus() -> Response:
    """Everything in the Prometheus text format. With tokens it needs one with the scope `admin`."""
    from prometheus_client import CollectorRegistry
    from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest

    asker("admin")
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Collector(services()))
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


class _Collector:
    """Reads the records and what the processes counted in Redis."""

    def __init__(self, here: Services) -> None:
        self.here = here

    def collect(self) -> Iterator[Any]:
        """Yield the metric families."""
        from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily

        yield from self._queue(GaugeMetricFamily)
        try:
            counted = metrics.read(self.here.redis)
        except redis.RedisError:
            return
        names = sorted({name for name, _ in counted})
        for name in names:
            rows = [(labels, parts) for (found, labels), parts in sorted(counted.items()) if found == name]
            keys = [key for key, _ in rows[0][0]]
            if name in metrics.BUCKETS:
                histogram = HistogramMetricFamily(f"lintsvc_{name}", f"Histogram of {name}", labels=keys)
                for labels, parts in rows:
                    buckets = list(_cumulated(parts, metrics.BUCKETS[name]))
                    histogram.add_metric([value for _, value in labels], buckets, parts.get("sum", 0.0))
                yield histogram
            else:
                counter = CounterMetricFamily(f"lintsvc_{name}", f"Number of {name}", labels=keys)
                for labels, parts in rows:
                    counter.add_metric([value for _, value in labels], parts.get("count", 0.0))
                yield counter

    def _queue(self, gauge: Any) -> Iterator[Any]:
        with self.here.db.reading() as connection:
            by_state = connection.execute(
                select(checks.c.state, func.count())
                .where(checks.c.state.in_(("queued", "running")))
                .group_by(checks.c.state)
            ).all()
            oldest = connection.execute(
                select(self.here.db.now - func.min(checks.c.created)).where(checks.c.state == QUEUED)
            ).scalar()
        waiting = gauge("lintsvc_checks_now", "Checks by state", labels=["state"])
        counts = {"queued": 0, "running": 0} | {row[0]: row[1] for row in by_state}
        for state, count in counts.items():
            waiting.add_metric([state], count)
        yield waiting
        age = max(0.0, float(oldest or 0.0))  # the clock may have been set back
        yield gauge("lintsvc_oldest_waiting_seconds", "Age of the oldest waiting check", value=age)


def _cumulated(parts: dict[str, float], bounds: Iterable[float]) -> Iterator[tuple[str, float]]:
    """Prometheus' buckets hold everything up to their bound."""
    total = 0.0
    for bound in bounds:
        total += parts.get(f"le {bound:g}", 0.0)
        yield f"{bound:g}", total
    yield "+Inf", total + parts.get("le +Inf", 0.0)
