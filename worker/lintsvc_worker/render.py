"""What is made on demand from a finished check: other report formats, geometry and highlights."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lintsvc_worker.measured import read_measured, write_measured

if TYPE_CHECKING:
    from lintsvc.model.report import Report
    from lintsvc.rulebook.adjust import Adjustments
    from lintsvc.rulebook.checked import Checked
    from lintsvc.rulebook.rule import Rule


#: Widths are shown in colours up to this, or three times the limit where that is more.
_WIDTHS_UP_TO_MM = 4.0
#: A piece of the table of materials takes about this.
_PIECE_SECONDS = 4.0
#: Rules whose limits are marked on the scales of the colours.
_WIDTH_RULES = {"powder-bed/thin-wall": "wall", "powder-bed/narrow-gap": "gap"}

#: The earlier version in a job that compares two, and what is told of it.
OLD_PART, OLD = "old-part", "old.json"


class NothingToShow(Exception):
    """The part has no such thing: a flat has no GLB, a file that could not be read has no geometry."""


def make(job: dict[str, Any], scratch: Path, rules: Sequence[Rule], changes: Adjustments | None = None) -> bytes:
    """Return the bytes of `job["name"]`. `changes`: what packs change of the rules. Raises NothingToShow."""
    from lintsvc.reports import json_report
    from lintsvc.store.renders import MATERIALS, REPORTS, VERSIONS

    name = job["name"]
    if name == "geometry":
        # Needs no report: the page gets it while the check still runs.
        return _geometry(_read_again(job, scratch, 0))
    if name == "widths":
        return _widths(_read_again(job, scratch, 0), rules, job, changes)
    if name == "lists":
        return _lists(_read_again(job, scratch, 0))
    if piece := MATERIALS.match(name):
        return _materials(scratch, _read_again(job, scratch, 0), rules, changes, int(piece[1] or 0))
    if name.partition(".")[0] == "folded":
        return _folded(_read_again(job, scratch, 0), name)
    report = json_report.from_dict(json.loads((scratch / "report.json").read_text("utf-8")))
    if VERSIONS.match(name):
        return _versions(job, scratch, report)
    if name == "report.html":
        return _html(job, scratch, report, rules)
    if name == "report.pdf":
        return _pdf(job, scratch, report)
    if name in REPORTS:
        return _report(name, report, rules)
    if name == "picture.svg":
        from lintsvc.reports.picture import picture_svg

        picture = picture_svg(_read_again(job, scratch, 0).part, report.parts[0].findings)
        if picture is None:
            raise NothingToShow("this part has no picture: it has neither a body nor a flat")
        return picture.encode()
    if name == "pictures.json":
        from lintsvc.reports.picture import svgs_of

        svgs = svgs_of(_read_again(job, scratch, 0).part, report.parts[0].findings)
        return json.dumps({"whole": svgs.whole, "close": {str(n): x for n, x in svgs.close.items()}}).encode()
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
            raise NothingToShow(f"there is no report {name}")


def _html(job: dict[str, Any], scratch: Path, report: Report, rules: Sequence[Rule]) -> bytes:
    """The HTML report, with a picture of each part that can be read."""
    from lintsvc.reports import html
    from lintsvc.reports.picture import svgs_of

    pictures = {
        number: svgs_of(_read_again(job, scratch, number).part, entry.findings)
        for number, entry in enumerate(report.parts)
        if entry.unreadable is None
    }
    return html.dumps(report, rules=rules, pictures=pictures).encode()


def _pdf(job: dict[str, Any], scratch: Path, report: Report) -> bytes:
    """The PDF report, with pictures of each part that can be read."""
    from lintsvc.reports import pdf
    from lintsvc.reports.picture import pictures_of

    pictures = {
        number: pictures_of(_read_again(job, scratch, number).part, entry.findings)
        for number, entry in enumerate(report.parts)
        if entry.unreadable is None
    }
    return pdf.dumps(report, pictures)


def part_file(number: int) -> str:
    """Name of a part's file in the scratch folder of a render job."""
    return f"part-{number}"


def _read_again(job: dict[str, Any], scratch: Path, number: int) -> Checked:
    """Read a part as the check does."""
    from lintsvc.model.choices_words import choices_from_dict
    from lintsvc.model.part import Unreadable
    from lintsvc.rulebook.check import assume, checked_again, material_of
    from lintsvc.rulebook.checked import Checked

    name, sha256 = job["parts"][number]
    choices = choices_from_dict(job["choices"])
    kept = read_measured(scratch, name, choices.process, choices.units) if len(job["parts"]) == 1 else None
    if kept is not None:
        choices, _ = assume(kept.part, choices)
        checked = Checked(kept.part, choices, material_of(choices))
        checked.body = kept.body
        return checked
    try:
        return checked_again(scratch / part_file(number), choices, name, sha256)
    except Unreadable as error:
        raise NothingToShow(f"the file could not be read: {error}") from error


def _versions(job: dict[str, Any], scratch: Path, report: Report) -> bytes:
    """This file against the earlier version beside it."""
    from lintsvc.model.choices_words import choices_from_dict
    from lintsvc.model.part import Unreadable
    from lintsvc.reports import json_report
    from lintsvc.reports.versions import versions_to_dict
    from lintsvc.rulebook.check import checked_again

    old = json.loads((scratch / OLD).read_text("utf-8"))
    before = after = None
    with suppress(NothingToShow, Unreadable):
        after = _read_again(job, scratch, 0)
        before = checked_again(scratch / OLD_PART, choices_from_dict(old["choices"]), old["name"], old["sha256"])
    found = versions_to_dict(json_report.from_dict(old["report"]).parts[0], report.parts[0], before, after)
    return json.dumps(found, allow_nan=False).encode()


def _materials(
    scratch: Path, checked: Checked, rules: Sequence[Rule], changes: Adjustments | None, start: int
) -> bytes:
    """The part in every material and thickness: a piece of the table."""
    from lintsvc.reports.material_table import to_dict
    from lintsvc.rulebook.adjust import NO_ADJUSTMENTS
    from lintsvc.rulebook.compare_materials import compare_materials

    started = time.perf_counter()
    table = compare_materials(
        checked, rules, adjustments=changes or NO_ADJUSTMENTS, start=start, most_seconds=_PIECE_SECONDS
    )
    # All materials together have asked for more than the chosen one: another choice finds it measured.
    write_measured(scratch, checked, time.perf_counter() - started)
    return json.dumps(to_dict(table), allow_nan=False).encode()


def _folded(checked: Checked, name: str) -> bytes:
    """The folded part, as `folded` for the page or `folded.glb`, `folded.step`."""
    from lintsvc.reports.folded import folded_bytes
    from lintsvc.rulebook.rule import CannotCheck

    if not _as_sheet(checked):
        raise NothingToShow("only a sheet part is folded")
    try:
        return folded_bytes(checked, name.partition(".")[2] or "json")
    except CannotCheck as error:
        raise NothingToShow(str(error)) from None


def _widths(checked: Checked, rules: Sequence[Rule], job: dict[str, Any], changes: Adjustments | None) -> bytes:
    """Wall thickness and gap width all over a body."""
    from lintsvc.measure.width_map import map_widths
    from lintsvc.reports.geometry import sent_order
    from lintsvc.reports.geometry_widths import encode_widths

    if checked.part.body is None or _as_sheet(checked):
        raise NothingToShow("only a body is coloured by its thickness")
    limits = _width_limits(checked, rules, job, changes)
    cap = max([_WIDTHS_UP_TO_MM, *(3 * value for value, _ in limits.values())])
    body = checked.body
    found = map_widths(body.mesh, body.solids, sent_order(checked.part.body), cap)
    return encode_widths(found, len(body.mesh), limits)


def _width_limits(
    checked: Checked, rules: Sequence[Rule], job: dict[str, Any], changes: Adjustments | None
) -> dict[str, tuple[float, str]]:
    """The limits that the report held walls and gaps against, as far as there are any, with the rules' ids."""
    from lintsvc.model.choices_words import CHANGES
    from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, adjust, changes_from_dict
    from lintsvc.rulebook.engine import applies
    from lintsvc.rulebook.limits import resolve
    from lintsvc.rulebook.rule import CannotCheck, RuleError

    changes = changes or NO_ADJUSTMENTS
    with suppress(RuleError):  # what cannot be read made the check itself refuse
        if sent := job["choices"].get(CHANGES):
            changes = changes.then(changes_from_dict(sent))
    wanted = [x for x in rules if x.id in _WIDTH_RULES and applies(x, checked)]
    limits = {}
    for rule in adjust(wanted, changes, checked.choices.process, checked.material).rules:
        with suppress(CannotCheck):
            limits[_WIDTH_RULES[rule.id]] = (
                resolve(rule, checked.material, checked.thickness_mm)["limit"].value,
                rule.id,
            )
    return limits


def _lists(checked: Checked) -> bytes:
    """Bodies and holes of a body with their faces."""
    from lintsvc.reports.geometry import sent_order
    from lintsvc.reports.geometry_lists import list_body

    if checked.part.body is None or _as_sheet(checked):
        raise NothingToShow("this part has no bodies")
    data = list_body(checked.body, sent_order(checked.part.body))
    return json.dumps(data, separators=(",", ":"), allow_nan=False).encode()


def _as_sheet(checked: Checked) -> bool:
    """True when the part is looked at as its flat: a solid of one thickness has both."""
    return checked.part.sheet is not None and (checked.part.body is None or checked.choices.process == "sheet")


def _geometry(checked: Checked) -> bytes:
    """The body as bytes, or the flat as JSON, whichever the process looks at."""
    from lintsvc.reports.geometry import encode_body, encode_sheet, sent_order

    part = checked.part
    if not _as_sheet(checked):
        if part.body is None:
            raise NothingToShow("this part has no geometry")
        return encode_body(part.body, sent_order(part.body))
    assert part.sheet is not None  # _as_sheet says so
    flat = checked.flat
    # Where it is not sure what is part and what is cut out, nothing is filled.
    known = () if flat.unsure else flat.contours
    contours = [([(p[0], p[1]) for p in x.points], x.depth % 2 == 1) for x in known]
    data = encode_sheet(
        part.sheet,
        thickness_mm=checked.thickness_mm,
        contours=contours,
        bends=flat.bends,
        holes=[(x.diameter_mm, x.centre_mm, x.entities) for x in flat.holes],
        kerf_mm=_kerf_mm(checked),
        part_box=flat.flat_box,
        zones_mm=_zones_mm(checked),
    )
    return json.dumps(data, separators=(",", ":"), allow_nan=False).encode()


def _zones_mm(checked: Checked) -> dict[int, float]:
    """How far the zone of each bend reaches to each side, as far as it is known."""
    from lintsvc.rulebook.rule import CannotCheck

    if checked.thickness_mm is None or not checked.flat.bends:
        return {}
    with suppress(CannotCheck):
        return {x.number: x.half_mm for x in checked.bending.zones}
    return {}


def _kerf_mm(checked: Checked) -> tuple[float, float] | None:
    from lintsvc.handbook.laser import kerf

    if checked.material is None or checked.thickness_mm is None:
        return None
    try:
        usual = kerf(checked.material, checked.thickness_mm)
    except ValueError:  # not cut by laser
        return None
    return usual.least.value, usual.most.value
