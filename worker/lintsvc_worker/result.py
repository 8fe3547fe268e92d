"""What a file's check leaves: its key, its entry in the report, and what to say when the child did not come back."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lintsvc.model.choices_words import choices_from_dict
from lintsvc.model.finding import NotChecked, Quantity
from lintsvc.model.report import PartReport, UnreadableShown
from lintsvc.reports.json_report import part_to_dict
from lintsvc.store.assemble import counted
from lintsvc.store.checks import FileOf
from lintsvc_worker.zygote_client import Ended

#: A report larger than this is no report but an attack.
LARGEST_REPORT = 256 << 20


def summary_of(entry: Mapping[str, Any]) -> dict[str, int]:
    """Count an entry's findings by level, and what was not checked."""
    return counted([dict(entry)])


def read_made(path: Path, largest: int = LARGEST_REPORT) -> bytes:
    """Read a file that the child wrote: a plain file, not a link, not too large. Raises OSError."""
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK)
    with os.fdopen(handle, "rb") as file:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode) or found.st_size > largest:
            raise OSError(f"{path.name} is no plain file of at most {largest} bytes")
        return file.read()


def why_lost(ended: Ended, *, seconds: float, step_seconds: float, memory_mib: int) -> str:
    """Say in words why a step came to no end."""
    match ended.how:
        case "step":
            return f"it took longer than {step_seconds:g} s and was stopped"
        case "time":
            return f"the file took longer than {seconds:g} s and was stopped"
        case "memory":
            return f"it needed more than {memory_mib} MiB of memory and was stopped"
        case "threads":
            return "it started many threads and was stopped"
        case "files":
            return "it wrote too much and was stopped"
        case _:
            return "it crashed"


def lost_entry(file: FileOf, choices: Mapping[str, Any], why: str, where: str, remedy: str) -> dict[str, Any]:
    """Return the report's entry for a file whose check came to no end: never a pass, never silence."""
    made = choices_from_dict(choices)
    thickness = None if made.thickness_mm is None else Quantity(made.thickness_mm, "mm")
    return part_to_dict(
        PartReport(
            file=file.name,
            sha256=file.sha256,
            process=made.process,
            material=made.material,
            thickness=thickness,
            part=None,
            not_checked=(NotChecked("*", why, failed=True),),
            unreadable=UnreadableShown(why, where, remedy),
        )
    )


def scratch_key(*parts: object) -> str:
    """A key that is never found again: for results that must not be reused."""
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()
