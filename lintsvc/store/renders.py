"""What can be made from a check on demand, by name, and where it is kept."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lintsvc.store import set_asides
from lintsvc.store.checks import Check
from lintsvc.store.database import Database

#: The whole check's: name to media type.
REPORTS: Mapping[str, str] = {
    "report.sarif": "application/sarif+json",
    "report.xml": "application/xml",
    "report.html": "text/html; charset=utf-8",
    "report.pdf": "application/pdf",
}
#: One file's: name to media type.
PICTURES: Mapping[str, str] = {
    "geometry": "application/octet-stream",
    "widths": "application/octet-stream",
    "lists": "application/json",
    "picture.svg": "image/svg+xml",
    "pictures.json": "application/json",
    "materials.json": "application/json",
    "highlights.glb": "model/gltf-binary",
    "highlights.svg": "image/svg+xml",
    "highlights.dxf": "image/vnd.dxf",
    "folded": "application/json",
    "folded.glb": "model/gltf-binary",
    "folded.step": "model/step",
}
#: What the page draws: made without the report, so also while the check runs; kept and sent as brotli.
DRAWN = frozenset(("geometry", "widths", "lists", "folded"))
#: One file held against a file of an earlier check: its number, the other check's id, the number there.
VERSIONS = re.compile(r"^versions\.([0-9]{1,4})\.([A-Za-z0-9_-]{1,64})\.([0-9]{1,4})$")
#: A piece of the table of materials, by the row that it starts with; the first has no number.
MATERIALS = re.compile(r"^materials(?:\.([0-9]{1,4}))?\.json$")
#: Suffix of the artefact that says why another could not be made.
REASON = ".why"
#: A failure to make something is told for so long; then it is tried again.
FAILED_SECONDS = 60


def failed_key(place: str, name: str) -> str:
    """Key in Redis of why something could not be made."""
    return f"lintsvc:failed:{place}:{name}"


def place_of(check: Check, name: str, number: int) -> str | None:
    """Return the place that it is kept under, None as long as the file has no key."""
    if name.partition("@")[0] in REPORTS or VERSIONS.match(name):
        return f"check/{check.id}"
    file = check.files[number]
    key = file.result or file.key
    return f"result/{key}" if key else None


def stored_as(db: Database, check: Check, name: str) -> str:
    """Return the name that it is kept under: a report with other findings set aside is another report."""
    if name not in REPORTS:
        return name
    mark = set_asides.digest(set_asides.of_files(db, check.owner, check.files))
    return f"{name}@{mark}" if mark else name


def media_type(name: str) -> str:
    """Return the media type of something made."""
    return {**REPORTS, **PICTURES}.get(name, "application/json")
