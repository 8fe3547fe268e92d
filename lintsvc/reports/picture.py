"""One picture of a part with its findings, as SVG without script: what reports show."""

from __future__ import annotations

from collections.abc import Sequence

from lintsvc.model.finding import Finding
from lintsvc.model.part import Part


def picture_svg(part: Part, findings: Sequence[Finding]) -> str | None:
    """Return the picture: the flat of a sheet part, else the body; None for a part with neither."""
    if part.sheet is not None and part.kind == "sheet":
        from lintsvc.reports.highlights_svg import write_svg

        return write_svg(part.sheet, findings)
    if part.body is not None and len(part.body.faces):
        from lintsvc.reports.picture_body import body_svg

        return body_svg(part.body, findings)
    return None
