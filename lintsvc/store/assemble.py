"""A check's report from its files' stored results: only JSON, no model and no kernel."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from lintsvc import __version__
from lintsvc.store import set_asides
from lintsvc.store.blobs import Blobs
from lintsvc.store.checks import FileOf
from lintsvc.store.database import Database
from lintsvc.store.keeping import find_artefact, open_artefact

SCHEMA = "1"


class NotStored(Exception):
    """A stored result is not there: the check is not done, or was deleted in this instant."""


def read_artefact(db: Database, blobs: Blobs, place: str, name: str) -> bytes:
    """Return something that was made. Raises NotStored."""
    found = find_artefact(db, place, name)
    if found is None:
        raise NotStored(name)
    try:
        with open_artefact(blobs, found) as file:
            return file.read()
    except FileNotFoundError:
        raise NotStored(name) from None


def assemble_report(db: Database, blobs: Blobs, files: Sequence[FileOf], owner: str | None = None) -> dict[str, Any]:
    """Return the JSON report over these files, with what `owner` set aside in them. Raises NotStored."""
    parts = []
    for file in files:
        if file.result is None:
            raise NotStored(file.name)
        entry = json.loads(read_artefact(db, blobs, f"result/{file.result}", "report.json"))
        # The same bytes may have come under another name before.
        entry["file"] = file.name
        parts.append(entry)
    if owner is not None:
        set_asides.apply(parts, set_asides.of_files(db, owner, files))
    return {"schema": SCHEMA, "made_by": __version__, "parts": parts}


def counted(parts: Sequence[dict[str, Any]]) -> dict[str, int]:
    """Count findings by level over report entries, and what was not read or not checked. What is set aside is not."""
    total = {"error": 0, "warning": 0, "note": 0, "unreadable": 0, "not_checked": 0}
    for part in parts:
        for finding in part["findings"]:
            if not finding.get("set_aside"):
                total[finding["level"]] += 1
        if part.get("unreadable"):
            total["unreadable"] += 1
        else:
            total["not_checked"] += len(part["not_checked"])
    return total
