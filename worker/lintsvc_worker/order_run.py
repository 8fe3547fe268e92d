"""Makes of an order what the page or a download asks for, and stores it beside the order."""

from __future__ import annotations

import io
import json
import time
import zipfile
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import redis
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from lintsvc.store import keeping
from lintsvc.store.assemble import NotStored, read_artefact
from lintsvc.store.blobs import file_blob
from lintsvc.store.orders import ARRIVAL, MADE, MAKING_SECONDS, PRINT, Order, making_key, place_of, read_order
from lintsvc.store.renders import FAILED_SECONDS, REASON, failed_key
from lintsvc_worker.check_run import limits_of, scratch_folder
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.made import Made, make_in_child, store_made
from lintsvc_worker.order import RESULTS, order_file

#: How often it is told that the work goes on, and looked whether it is still wanted.
_LOOK_SECONDS = 1.0


class _Unwanted(Exception):
    """The order was deleted while something was made of it."""


class _Watch:
    """Tells that something is being made and how far it is, and looks whether the order is still there."""

    def __init__(self, context: Context, order_id: str, name: str) -> None:
        self._context, self._id = context, order_id
        self._key = making_key(order_id, name)
        self._told = {"step": "start", "percent": 0.0}
        self._next = 0.0
        self.wanted = True

    def begin(self) -> bool:
        """False where somebody makes it already: whoever waits asks again and again."""
        return bool(self._context.redis.set(self._key, json.dumps(self._told), nx=True, ex=MAKING_SECONDS))

    def end(self) -> None:
        with suppress(redis.RedisError):
            self._context.redis.delete(self._key)

    def says(self, line: dict[str, Any]) -> None:
        """Take a line of the child. It is not trusted: only what is expected is passed on."""
        percent = line.get("percent", 0.0)
        if "step" in line and isinstance(percent, (int, float)) and 0 <= percent <= 100:
            self._told = {"step": str(line["step"])[:128], "percent": float(percent)}

    def tick(self) -> bool:
        """False to stop."""
        now = time.monotonic()
        if now < self._next:
            return self.wanted
        self._next = now + _LOOK_SECONDS
        # Without Redis or the records the work goes on: they may be back before it ends.
        with suppress(redis.RedisError):
            self._context.redis.set(self._key, json.dumps(self._told), ex=MAKING_SECONDS)
        with suppress(DBAPIError, PoolTimeout):
            self.wanted = read_order(self._context.db, self._id) is not None
        return self.wanted


def run_order(context: Context, order_id: str, name: str) -> None:
    """Make one thing, unless it is there already."""
    order = again_and_again(context, lambda: read_order(context.db, order_id))
    job = None if order is None else _job(order, name)
    if order is None or job is None:
        return
    place = place_of(order_id)
    if keeping.find_artefact(context.db, place, name) is not None:
        return
    # What comes of an order at once is one job, whichever of it was asked for.
    told = "order.json" if name in MADE else name
    watch = _Watch(context, order_id, told)
    if not watch.begin():
        return
    try:
        # Suppressed: the order was deleted meanwhile.
        with scratch_folder(context) as scratch, suppress(NotStored, FileNotFoundError, _Unwanted):
            made = _make(context, order, name, job, scratch, watch)
            if made.failed:
                context.redis.set(failed_key(place, told), made.reason, ex=FAILED_SECONDS)
            else:
                files = {name + REASON: made.reason.encode()} if made.data is None else _files(name, made.data)
                store_made(context, place, files, scratch)
            context.events.publish(order_id, [("made", {"name": name})])
    finally:
        watch.end()


def _job(order: Order, name: str) -> dict[str, Any] | None:
    """Return the child's job, None for a name that nothing is made under."""
    job: dict[str, Any] = {"task": "order", "files": [x.name for x in order.files]}
    if name in MADE:
        return {**job, "what": "all"}
    if found := PRINT.match(name):
        return {
            **job,
            "what": "print",
            "part": found[1],
            "paper": found[2],
            "offset_mm": int(found[3]) / 1000,
            "template": found[4] == "1",
        }
    if (found := ARRIVAL.match(name)) and found[2] == "json":
        return {**job, "what": "arrival"}
    return None


def _make(context: Context, order: Order, name: str, job: dict[str, Any], scratch: Path, watch: _Watch) -> Made:
    """Lay the order's files out for a child, and have it make this. Raises _Unwanted."""
    folder = scratch / "child"
    folder.mkdir()
    for number, file in enumerate(order.files):
        context.blobs.fetch(file_blob(file.sha256), folder / order_file(number))
    if job["what"] == "arrival":
        csv = name.removesuffix(".json") + ".csv"
        (folder / RESULTS).write_bytes(read_artefact(context.db, context.blobs, place_of(order.id), csv))
    # The order and each of its files: what is set is the time for one.
    limits = replace(limits_of(context), seconds=context.settings.file_seconds * len(order.files))
    made = make_in_child(context, job, folder, limits, f"{name} of order {order.id}", watch.says, watch.tick)
    if not watch.wanted:
        raise _Unwanted
    return made


def _files(name: str, data: bytes) -> dict[str, bytes]:
    """Return what is to be stored: everything that came with it."""
    if name not in MADE:
        return {name: data}
    with zipfile.ZipFile(io.BytesIO(data)) as made:
        return {x: made.read(x) for x in MADE}
