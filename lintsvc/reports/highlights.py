"""Highlights of one part, whatever it is: GLB for a body, SVG and DXF for a flat; and names that are safe to write."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from lintsvc.model.finding import Finding
from lintsvc.model.part import Part

#: Names that Windows keeps for devices, whatever their extension.
_DEVICES = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
_LONGEST = 100


def highlights(part: Part, findings: Sequence[Finding]) -> dict[str, bytes]:
    """Return the files by extension: `glb` where there is a body, `svg` and `dxf` where there is a flat."""
    files: dict[str, bytes] = {}
    if part.body is not None and len(part.body.faces):
        from lintsvc.reports.highlights_glb import write_glb

        files["glb"] = write_glb(part.body, _on_body(part, findings))
    if part.sheet is not None:
        from lintsvc.reports.highlights_dxf import write_dxf
        from lintsvc.reports.highlights_svg import write_svg

        files["svg"] = write_svg(part.sheet, findings).encode("utf-8")
        files["dxf"] = write_dxf(part.sheet, findings)
    return files


def _on_body(part: Part, findings: Sequence[Finding]) -> Sequence[Finding]:
    """The findings of an unfolded solid lie in its flat; on the body they lie where the flat comes from."""
    if part.kind != "sheet" or part.sheet is None or not part.sheet.panels:
        return findings
    from lintsvc.measure.flat_on_solid import FlatOnSolid

    solid = FlatOnSolid(part)
    return [x if x.where is None else replace(x, where=solid.where(x.where)) for x in findings]


def write_highlights(folder: Path, stem: str, part: Part, findings: Sequence[Finding]) -> list[Path]:
    """Write the files into `folder` as `stem.highlights.EXT` and return them. Raises OSError where it can't."""
    written = []
    for extension, data in highlights(part, findings).items():
        path = folder / f"{stem}.highlights.{extension}"
        path.write_bytes(data)
        written.append(path)
    return written


def safe_stem(name: str, taken: set[str]) -> str:
    """Return a file name made from any text: no separators, no control signs, not hidden, unlike those `taken`.

    Adds the result to `taken`. Names are compared without case, as some file systems do.

    >>> safe_stem("../up/part a.stl", set())
    'up-part_a.stl'
    """
    plain = unicodedata.normalize("NFC", name)
    pieces = [x for x in re.split(r"[/\\]+", plain) if x not in ("", ".", "..")]
    stem = re.sub(r"[^\w.+-]", "_", "-".join(pieces)).strip("._- ") or "part"
    # The end is kept: it tells two long names apart more often than the start does.
    stem = stem.encode("utf-8")[-_LONGEST:].decode("utf-8", "ignore").strip("._- ")
    if _DEVICES.match(stem):
        stem = f"part-{stem}"
    unique, count = stem, 1
    while unique.casefold() in taken:
        count += 1
        unique = f"{stem}-{count}"
    taken.add(unique.casefold())
    return unique
