"""What a fenced child makes when somebody asks for it: the bytes, or why there are none; and its place in the store."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy.exc import IntegrityError

from lintsvc.store import claims, keeping
from lintsvc_worker import child
from lintsvc_worker.context import Context
from lintsvc_worker.result import read_made, why_lost
from lintsvc_worker.zygote_client import CannotWarmUp, ChildLimits, Ended, Says, Tick

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Made:
    """The bytes, or None and why there are none. `failed`: nothing is wrong with what was asked for, and the next try
    may fare better."""

    data: bytes | None
    reason: str = ""
    failed: bool = False


def make_in_child(
    context: Context,
    job: Mapping[str, Any],
    folder: Path,
    limits: ChildLimits,
    what: str,
    says: Says = lambda _: None,
    tick: Tick = lambda: True,
) -> Made:
    """Run a job that makes one thing, and read that. `what`: what it is, for the log."""
    nothing = ""

    def listen(line: dict[str, Any]) -> None:
        nonlocal nothing
        nothing = nothing or str(line.get("nothing", ""))
        says(line)

    try:
        ended = context.zygote.run(job, folder, limits, listen, tick)
    except CannotWarmUp as error:
        return Made(None, f"it could not be made: {error}", failed=True)
    if nothing:
        return Made(None, nothing)
    if ended.how == "killed":
        # By whoever asked: it is not wanted any more.
        return Made(None, "it was stopped", failed=True)
    if ended.how == "done":
        try:
            return Made(read_made(folder / child.MADE))
        except OSError:
            # It said that it was done, and left nothing, or no plain file.
            ended = Ended("crash")
    reason = "it could not be made: " + why_lost(
        ended,
        seconds=limits.seconds,
        step_seconds=limits.step_seconds,
        memory_mib=limits.memory_bytes >> 20,
    )
    log.error("%s: %s%s", what, reason, last_words(folder))
    return Made(None, reason, failed=True)


def last_words(folder: Path) -> str:
    """The end of what a child wrote of itself, on lines of its own: a traceback, most of the time."""
    try:
        words = read_made(folder / "log").decode("utf-8", "replace").strip()[-2000:]
    except OSError:
        return ""
    return f"\n{words}" if words else ""


def store_made(context: Context, place: str, files: Mapping[str, bytes], scratch: Path) -> None:
    """Store what was made, by name, unless somebody else made it in the same instant."""
    made = [keeping.make_artefact(context.blobs, name, data, scratch) for name, data in files.items()]
    try:
        with context.db.writing() as connection:
            claims.add_artefacts(connection, place, made)
    except IntegrityError:
        keeping.drop_made(context.blobs, made)
