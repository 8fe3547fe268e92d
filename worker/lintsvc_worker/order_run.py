"""Makes of an order what the page or a download asks for, and stores it beside the order."""

from __future__ import annotations

import io
import logging
import zipfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy.exc import IntegrityError

from lintsvc.store import claims, keeping
from lintsvc.store.assemble import NotStored, read_artefact
from lintsvc.store.blobs import file_blob
from lintsvc.store.orders import ARRIVAL, MADE, PRINT, Order, place_of, read_order
from lintsvc.store.renders import FAILED_SECONDS, REASON, failed_key
from lintsvc_worker import child
from lintsvc_worker.check_run import limits_of, scratch_folder
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.order import RESULTS, order_file
from lintsvc_worker.result import read_made, why_lost
from lintsvc_worker.zygote_client import CannotWarmUp

log = logging.getLogger(__name__)


def run_order(context: Context, order_id: str, name: str) -> None:
    """Make one thing, unless it is there already."""
    order = again_and_again(context, lambda: read_order(context.db, order_id))
    job = None if order is None else _job(order, name)
    if order is None or job is None:
        return
    place = place_of(order_id)
    if keeping.find_artefact(context.db, place, name) is not None:
        return
    # Suppressed: the order was deleted meanwhile.
    with scratch_folder(context) as scratch, suppress(NotStored, FileNotFoundError):
        data, reason, failed = _make(context, order, name, job, scratch)
        if failed:
            context.redis.set(failed_key(place, name), reason, ex=FAILED_SECONDS)
        else:
            _store(
                context, place, _files(name, data) if data is not None else {name + REASON: reason.encode()}, scratch
            )
        context.events.publish(order_id, [("made", {"name": name})])


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


def _make(
    context: Context, order: Order, name: str, job: dict[str, Any], scratch: Path
) -> tuple[bytes | None, str, bool]:
    """Return the bytes, or None and why there are none, and whether that is a failure of ours."""
    folder = scratch / "child"
    folder.mkdir()
    for number, file in enumerate(order.files):
        context.blobs.fetch(file_blob(file.sha256), folder / order_file(number))
    if job["what"] == "arrival":
        csv = name.removesuffix(".json") + ".csv"
        (folder / RESULTS).write_bytes(read_artefact(context.db, context.blobs, place_of(order.id), csv))
    said: list[str] = []
    try:
        ended = context.zygote.run(
            job, folder, limits_of(context), lambda line: said.append(str(line.get("nothing", ""))), lambda: True
        )
    except CannotWarmUp as error:
        return None, f"it could not be made: {error}", True
    reason = next((x for x in said if x), "")
    if ended.how == "done" and not reason:
        return read_made(folder / child.MADE), "", False
    if reason:
        return None, reason, False
    settings = context.settings
    reason = "it could not be made: " + why_lost(
        ended, seconds=settings.file_seconds, step_seconds=settings.step_seconds, memory_mib=settings.memory_mib
    )
    words = read_made(folder / "log").decode("utf-8", "replace")[-2000:] if (folder / "log").exists() else ""
    log.error("%s of order %s: %s %s", name, order.id, reason, words)
    return None, reason, True


def _files(name: str, data: bytes) -> dict[str, bytes]:
    """Return what is to be stored: everything that came with it."""
    if name not in MADE:
        return {name: data}
    with zipfile.ZipFile(io.BytesIO(data)) as made:
        return {x: made.read(x) for x in MADE}


def _store(context: Context, place: str, files: dict[str, bytes], scratch: Path) -> None:
    made = [keeping.make_artefact(context.blobs, name, data, scratch) for name, data in files.items()]
    try:
        with context.db.writing() as connection:
            claims.add_artefacts(connection, place, made)
    except IntegrityError:
        keeping.drop_made(context.blobs, made)  # somebody else made it in the same instant
