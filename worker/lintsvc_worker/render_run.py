"""Makes on demand what the page or a download asks for, and stores it beside the result."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from lintsvc.store import keeping
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
from lintsvc_worker.made import Made, make_in_child, store_made
from lintsvc_worker.render import OLD, OLD_PART, part_file


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
        made = _make(context, check, check.files[number], name, scratch)
        if made.failed:
            # Told for a while, and then tried again.
            context.redis.set(failed_key(place, name), made.reason, ex=FAILED_SECONDS)
        elif made.data is None:
            store_made(context, place, {name + REASON: made.reason.encode()}, scratch)
        else:
            store_made(context, place, {kept_as: made.data}, scratch)
        context.events.publish(check_id, [("made", {"name": name, "file": number})])


def _make(context: Context, check: Check, file: FileOf, name: str, scratch: Path) -> Made:
    """Lay out for a child what this is made from, and have it make it."""
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
    made = make_in_child(context, job, folder, limits_of(context), f"{name} of check {check.id}")
    if made.data is None:
        return made
    if table:
        context.measured.take(shelf, folder)
    return replace(made, data=_packed(name, made.data))


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
