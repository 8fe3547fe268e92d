"""A file of several exact solids in which some are sheet parts: each judged as what it is, told as one entry.

Every different solid counts once, however often it is placed. Those that are sheet parts are unfolded and held
against the rules for sheet one by one; what is left is held together against the rules for bodies. Findings come
back where they lie in the file, and name the solid.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lintsvc.model.choices import Assumed, Choices
from lintsvc.model.finding import LEVELS, Finding, NotChecked
from lintsvc.model.part import Part
from lintsvc.model.report import PartReport, SolidShown
from lintsvc.rulebook.shown import show_part

if TYPE_CHECKING:
    from lintsvc.rulebook.check import Result
    from lintsvc.rulebook.checked import Checked

#: So many different solids are looked at one by one; a file of more is an assembly of bought-in things.
MOST_SOLIDS = 100
REST = "the other bodies"
MOST_REASONS = 4


@dataclass(frozen=True)
class Member:
    """One different solid, or all that are no sheet parts. `faces[i]`: the file's number of face i of the part."""

    name: str
    count: int
    part: Part
    faces: tuple[int, ...]


def members_of(part: Part, recognise: Callable[[Part], Part]) -> tuple[list[Member], str]:
    """Return the members of a file that holds several solids, sheet parts among them; nothing for any other file.

    `recognise`: gives a part of one solid its flat, where it is a sheet. Returns too why several solids are none.
    """
    if part.body is None or part.body.exact is None or not len(part.body.exact.solids) > 1:
        return [], ""
    if part.not_a_sheet_because:
        # These are the rest of a file that was looked at solid by solid.
        return [], part.not_a_sheet_because
    from lintsvc.measure.split_solids import different_solids, part_of_solids

    solids = different_solids(part.body)
    if len(solids) > MOST_SOLIDS:
        return [], f"the file holds {len(solids)} different solids; up to {MOST_SOLIDS} are looked at one by one"
    found: list[Member] = []
    rest: list[tuple[int, ...]] = []
    because: list[str] = []
    for places in solids:
        alone, faces = part_of_solids(part, places[:1])
        flat = recognise(alone)
        if flat.kind == "sheet":
            name = part.body.object_names[places[0]] if part.body.object_names else ""
            found.append(Member(name, len(places), flat, faces))
        else:
            rest.append(places)
            because.append(flat.not_a_sheet_because)
    said = _together([_name(part, places) for places in rest], because)
    if not found:
        return [], said
    names = Counter(x.name for x in found)
    found = [
        replace(x, name=x.name if x.name and names[x.name] == 1 else f"{x.name or 'solid'} {i + 1}")
        for i, x in enumerate(found)
    ]
    if rest:
        alone, faces = part_of_solids(part, tuple(n for places in rest for n in places))
        own = [part.body.object_names[places[0]] for places in rest] if part.body.object_names else []
        name = own[0] if len(own) == 1 and own[0] and own[0] not in names else REST
        count = len(rest[0]) if len(rest) == 1 else 1
        found.append(Member(name, count, replace(alone, not_a_sheet_because=said), faces))
    # What was noticed in the file is told once, with the first.
    found[0] = replace(found[0], part=replace(found[0].part, notes=part.notes + found[0].part.notes))
    return found, said


def _name(part: Part, places: tuple[int, ...]) -> str:
    assert part.body is not None
    return (part.body.object_names[places[0]] if part.body.object_names else "") or f"solid {places[0] + 1}"


def _together(names: Sequence[str], because: Sequence[str]) -> str:
    """Why several solids are no sheet parts, each by its name, the first of them."""
    if len(because) == 1:
        return because[0]
    told = [f"{name}: {reason}" for name, reason in zip(names, because, strict=True)]
    more = f"; and {len(told) - MOST_REASONS} more" if len(told) > MOST_REASONS else ""
    return "; ".join(told[:MOST_REASONS]) + more


def check_members(
    part: Part, members: Sequence[Member], choices: Choices, check: Callable[[Part, Choices], Result], whole: Checked
) -> PartReport:
    """Check each member, and return the file's entry. `whole`: the file's body, all solids together."""
    reports = []
    sheets = sum(1 for x in members if x.part.kind == "sheet")
    for member in members:
        result = check(member.part, _choices_of(member, choices, alone=sheets == 1))
        assert result.checked is not None
        reports.append((member, _placed(result, member)))
    processes = {report.process for _, report in reports}
    same = len(processes) == 1
    thicknesses = {report.thickness for _, report in reports}
    return PartReport(
        file=part.file,
        sha256=part.sha256,
        process=processes.pop() if same else None,
        material=choices.material,
        thickness=thicknesses.pop() if len(thicknesses) == 1 else None,
        part=show_part(whole),
        findings=_findings(reports),
        not_checked=_not_checked(reports),
        format=part.format,
        assumed=_assumed(reports),
        notes=_notes(reports),
        checked=_checked(reports),
        solids=tuple(_shown(member, report) for member, report in reports),
    )


def _choices_of(member: Member, choices: Choices, *, alone: bool) -> Choices:
    """The choices as far as they can be meant for one member of several."""
    is_sheet = member.part.kind == "sheet"
    process = choices.process or ("sheet" if is_sheet else None)
    if choices.material is not None:
        from lintsvc.handbook.materials import material

        if (process or "powder-bed") not in material(choices.material).processes:
            choices = replace(choices, material=None)
    if not (is_sheet and alone):
        # Places in a flat are places in one flat.
        choices = replace(choices, bends=(), threads=(), countersinks=(), finished_size_mm=None)
    return replace(choices, process=process)


def _placed(result: Result, member: Member) -> PartReport:
    """The member's report with its findings where they lie in the file."""
    from lintsvc.measure.flat_on_solid import FlatOnSolid

    solid = FlatOnSolid(member.part) if member.part.kind == "sheet" else None
    findings = []
    for finding in result.report.findings:
        where = finding.where
        if where is not None and solid is not None:
            where = replace(solid.where(where), entities=())
        if where is not None and where.faces:
            where = replace(where, faces=tuple(member.faces[x] for x in where.faces))
        text = f"{member.name}|{finding.fingerprint}"
        key = hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:16]
        named = f"{member.name}: {finding.message}"
        findings.append(replace(finding, where=where, message=named, fingerprint=key))
    return replace(result.report, findings=tuple(findings))


_Reports = Sequence[tuple[Member, PartReport]]


def _findings(reports: _Reports) -> tuple[Finding, ...]:
    every = [x for _, report in reports for x in report.findings]
    return tuple(sorted(every, key=lambda x: (-x.rank, LEVELS.index(x.level), x.rule)))


def _checked(reports: _Reports) -> tuple[str, ...]:
    """Rules that ran to their end wherever they were tried."""
    missed = {x.rule for _, report in reports for x in report.not_checked}
    return tuple(dict.fromkeys(x for _, report in reports for x in report.checked if x not in missed))


def _not_checked(reports: _Reports) -> tuple[NotChecked, ...]:
    told: dict[tuple[str, str, bool], list[str]] = {}
    for member, report in reports:
        for x in report.not_checked:
            told.setdefault((x.rule, x.why, x.failed), []).append(member.name)
    everywhere = len(reports)
    return tuple(
        NotChecked(rule, why if len(names) == everywhere else f"{', '.join(names)}: {why}", failed=failed)
        for (rule, why, failed), names in told.items()
    )


def _assumed(reports: _Reports) -> tuple[Assumed, ...]:
    return tuple(replace(x, why=f"{member.name}: {x.why}") for member, report in reports for x in report.assumed)


def _notes(reports: _Reports) -> tuple[str, ...]:
    lines = []
    for member, report in reports:
        shown = report.part
        if shown is not None and shown.kind == "sheet" and shown.flat_mm is not None:
            placed = f", placed {member.count} times" if member.count > 1 else ""
            wide, high = shown.flat_mm
            many = "1 bend" if len(shown.bends) == 1 else f"{len(shown.bends)} bends"
            bends = f", {many}" if shown.bends else ""
            size = f"{shown.thickness_mm:g} mm, flat {wide:.4g} × {high:.4g} mm"
            lines.append(f"{member.name} is a sheet part{placed}: {size}{bends}.")
        elif report.process == "powder-bed":
            # Nobody says in a STEP file which of its solids are bought; what is checked must not look like a decision.
            lines.append(
                f"{member.name} {'are' if member.name == REST else 'is'} checked as a print, since nothing says "
                "otherwise. A bought-in part, such as a screw, is not to be made: leave it out of the file, and name "
                "it as bought in an order file."
            )
    return tuple(dict.fromkeys([*lines, *(x for _, report in reports for x in report.notes)]))


def _shown(member: Member, report: PartReport) -> SolidShown:
    assert report.part is not None
    return SolidShown(member.name, member.count, report.process, report.part, member.part.not_a_sheet_because)
