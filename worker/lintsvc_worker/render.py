"""What is made on demand from a finished check: other report formats, geometry and highlights."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lintsvc.model.report import Report
    from lintsvc.rulebook.checked import Checked
    from lintsvc.rulebook.rule import Rule


class NothingToShow(Exception):
    """The part has no such thing: a flat has no GLB, a file that could not be read has no geometry."""


def make(job: dict[str, Any], scratch: Path, rules: Sequence[Rule]) -> bytes:
    """Return the bytes of `job["name"]`. Raises NothingToShow."""
    from lintsvc.reports import json_report
    from lintsvc.store.renders import REPORTS

    name = job["name"]
    if name == "geometry":
        # Needs no report: the page gets it while the check still runs.
        return _geometry(_read_again(job, scratch, 0))
    report = json_report.from_dict(json.loads((scratch / "report.json").read_text("utf-8")))
    if name == "report.html":
        return _html(job, scratch, report, rules)
    if name in REPORTS:
        return _report(name, report, rules)
    from lintsvc.reports.highlights import highlights

    checked = _read_again(job, scratch, 0)
    files = highlights(checked.part, report.parts[0].findings)
    wanted = name.rpartition(".")[2]
    if wanted not in files:
        raise NothingToShow(f"this part has no highlights as {wanted}; it has {', '.join(files) or 'none'}")
    return files[wanted]


def _report(name: str, report: Report, rules: Sequence[Rule]) -> bytes:
    match name:
        case "report.sarif":
            from lintsvc.reports import sarif

            return sarif.dumps(report, rules).encode()
        case "report.xml":
            from lintsvc.reports import junit

            return junit.dumps(report).encode()
        case _:
            from lintsvc.reports import pdf

            return pdf.dumps(report)


def _html(job: dict[str, Any], scratch: Path, report: Report, rules: Sequence[Rule]) -> bytes:
    """The HTML report, with a picture of each part that can be read."""
    from lintsvc.reports import html
    from lintsvc.reports.picture import picture_svg

    pictures: dict[int, str] = {}
    for number, entry in enumerate(report.parts):
        if entry.unreadable is None:
            picture = picture_svg(_read_again(job, scratch, number).part, entry.findings)
            if picture is not None:
                pictures[number] = picture
    return html.dumps(report, rules=rules, pictures=pictures).encode()


def part_file(number: int) -> str:
    """Name of a part's file in the scratch folder of a render job."""
    return f"part-{number}"


def _read_again(job: dict[str, Any], scratch: Path, number: int) -> Checked:
    """Read a part as the check does."""
    from lintsvc.model.choices_words import choices_from_dict
    from lintsvc.model.part import Unreadable
    from lintsvc.readers import read_part
    from lintsvc.readers.format import ReadOptions
    from lintsvc.rulebook.check import assume
    from lintsvc.rulebook.checked import Checked

    choices = choices_from_dict(job["choices"])
    name, sha256 = job["parts"][number]
    options = ReadOptions(name, sha256, choices.units, choices.material, choices.k_factor)
    try:
        part = read_part(scratch / part_file(number), options)
    except Unreadable as error:
        raise NothingToShow(f"the file could not be read: {error}") from error
    choices, _ = assume(part, choices)
    return Checked(part, choices)


def _geometry(checked: Checked) -> bytes:
    """The body as bytes, or the flat as JSON, whichever the process looks at."""
    from lintsvc.reports.geometry import encode_body, encode_sheet, sent_order

    part = checked.part
    as_sheet = part.sheet is not None and (part.body is None or checked.choices.process == "sheet")
    if not as_sheet:
        if part.body is None:
            raise NothingToShow("this part has no geometry")
        return encode_body(part.body, sent_order(part.body))
    assert part.sheet is not None  # as_sheet says so
    flat = checked.flat
    contours = [([(p[0], p[1]) for p in x.points], x.depth % 2 == 1) for x in flat.contours]
    data = encode_sheet(part.sheet, thickness_mm=checked.thickness_mm, contours=contours, bends=flat.bends)
    return json.dumps(data, separators=(",", ":"), allow_nan=False).encode()
