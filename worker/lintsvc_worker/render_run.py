"""Makes on demand what the page or a download asks for, and stores it beside the result."""

from __future__ import annotations

import json
import logging
from contextlib import suppress
from pathlib import Path

from sqlalchemy.exc import IntegrityError

from lintsvc.store import claims, keeping
from lintsvc.store.assemble import NotStored, assemble_report
from lintsvc.store.blobs import file_blob
from lintsvc.store.checks import Check, FileOf, read_check
from lintsvc.store.renders import (
    DRAWN,
    FAILED_SECONDS,
    MATERIALS,
    PICTURES,
    REASON,
    REPORTS,
    VERSIONS,
    failed_key,
    place_of,
    stored_as,
)
from lintsvc_worker import child
from lintsvc_worker.check_run import limits_of, scratch_folder
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.render import OLD, OLD_PART, part_file
from lintsvc_worker.result import read_made, why_lost
from lintsvc_worker.zygote_client import CannotWarmUp

log = logging.getLogger(__name__)


def run_render(context: Context, check_id: str, name: str, number: int) -> None:
    """Make one thing, unless it is there already."""
    check = again_and_again(context, lambda: read_check(context.db, check_id))
    if check is None or number >= len(check.files):
        return
    place = place_of(check, name, number)
    if place is None:
        return
    # With what is set aside now: whoever wants it with something else asks again.
    kept_as = stored_as(context.db, check, name)
    if keeping.find_artefact(context.db, place, kept_as) is not None:
        return
    # Suppressed: the check was deleted meanwhile.
    with scratch_folder(context) as scratch, suppress(NotStored, FileNotFoundError):
        data, reason, failed = _make(context, check, check.files[number], name, scratch)
        if failed:
            # Told for a while, and then tried again: the next try may fare better.
            context.redis.set(failed_key(place, name), reason, ex=FAILED_SECONDS)
        else:
            told = kept_as if data is not None else name + REASON
            artefact = keeping.make_artefact(context.blobs, told, data or reason.encode(), scratch)
            try:
                with context.db.writing() as connection:
                    claims.add_artefacts(connection, place, [artefact])
            except IntegrityError:
                keeping.drop_made(context.blobs, [artefact])  # somebody else made it in the same instant
        context.events.publish(check_id, [("made", {"name": name, "file": number})])


def _make(context: Context, check: Check, file: FileOf, name: str, scratch: Path) -> tuple[bytes | None, str, bool]:
    """Return the bytes, or None and why there are none, and whether that is a failure of ours."""
    folder = scratch / "child"
    folder.mkdir()
    compared = VERSIONS.match(name)
    if compared:
        _lend_old(context, folder, compared[2], int(compared[3]))
    table = MATERIALS.match(name)
    of_file = bool(name in PICTURES or table or compared)
    files = (file,) if of_file else check.files
    solid = False
    if of_file or name in ("report.html", "report.pdf"):
        for number, one in enumerate(files):
            context.blobs.fetch(file_blob(one.sha256), folder / part_file(number))
            solid = solid or child.may_be_solid(folder / part_file(number))
    if name not in DRAWN:
        # What one owner set aside is not for pictures, which are kept for all.
        report = assemble_report(context.db, context.blobs, files, check.owner if name in REPORTS else None)
        (folder / child.REPORT).write_text(json.dumps(report))
    shelf = context.measured.place(file.sha256, check.choices, context.version)
    if len(files) == 1:
        context.measured.lend(shelf, folder)
    job = {
        "task": "render",
        "name": name,
        "choices": dict(check.choices),
        "parts": [(x.name, x.sha256) for x in files],
        "solid": solid,
    }
    said: list[str] = []
    try:
        ended = context.zygote.run(
            job, folder, limits_of(context), lambda line: said.append(str(line.get("nothing", ""))), lambda: True
        )
    except CannotWarmUp as error:
        return None, f"it could not be made: {error}", True
    reason = next((x for x in said if x), "")
    if ended.how == "done" and not reason:
        if table:
            context.measured.take(shelf, folder)
        return _packed(name, read_made(folder / child.MADE)), "", False
    if not reason:
        settings = context.settings
        reason = "it could not be made: " + why_lost(
            ended, seconds=settings.file_seconds, step_seconds=settings.step_seconds, memory_mib=settings.memory_mib
        )
        words = read_made(folder / "log").decode("utf-8", "replace")[-2000:] if (folder / "log").exists() else ""
        log.error("%s of check %s: %s %s", name, check.id, reason, words)
        return None, reason, True
    return None, reason, False


def _lend_old(context: Context, folder: Path, check_id: str, number: int) -> None:
    """Put the earlier version into the child's folder: its file, its entry and what it was checked for."""
    old = read_check(context.db, check_id)
    if old is None or number >= len(old.files):
        raise NotStored(check_id)
    file = old.files[number]
    context.blobs.fetch(file_blob(file.sha256), folder / OLD_PART)
    told = {
        "report": assemble_report(context.db, context.blobs, [file]),
        "choices": dict(old.choices),
        "name": file.name,
        "sha256": file.sha256,
    }
    (folder / OLD).write_text(json.dumps(told))


def _packed(name: str, data: bytes) -> bytes:
    """What is drawn is stored as it is sent most of the time: brotli."""
    if name not in DRAWN:
        return data
    import brotli

    packed: bytes = brotli.compress(data, quality=4)
    return packed
