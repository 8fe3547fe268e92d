"""What can be made from a check on demand, by name, and where it is kept."""

from __future__ import annotations

from collections.abc import Mapping

from lintsvc.store.checks import Check

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
    "highlights.glb": "model/gltf-binary",
    "highlights.svg": "image/svg+xml",
    "highlights.dxf": "image/vnd.dxf",
}
#: Suffix of the artefact that says why another could not be made.
REASON = ".why"
#: A failure to make something is told for so long; then it is tried again.
FAILED_SECONDS = 60


def failed_key(place: str, name: str) -> str:
    """Key in Redis of why something could not be made."""
    return f"lintsvc:failed:{place}:{name}"


def place_of(check: Check, name: str, number: int) -> str | None:
    """Return the place that it is kept under, None as long as the file has no key."""
    if name in REPORTS:
        return f"check/{check.id}"
    file = check.files[number]
    key = file.result or file.key
    return f"result/{key}" if key else None
