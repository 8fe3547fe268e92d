"""One file from bytes to report: read, measure, apply rules, rank. The flow that all three ways in share."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from lintsvc.model.choices import Assumed, Choices, Process
from lintsvc.model.finding import Finding, NotChecked, Quantity
from lintsvc.model.material import Material
from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.report import PartReport, Seconds, UnreadableShown
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, adjust
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.engine import applies, run_rules
from lintsvc.rulebook.rule import Rule

if TYPE_CHECKING:
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.readers.format import ReadOptions


#: A solid of the thickness that was said may be off by so much.
_SAME_THICKNESS_MM = 0.01


@dataclass(frozen=True, slots=True)
class Progress:
    """Callbacks for somebody who watches: steps with percent, and findings as they come."""

    step: Callable[[str, float], None] = lambda step, percent: None
    finding: Callable[[Finding], None] = lambda finding: None


@dataclass(frozen=True)
class Result:
    """A report and, for highlights and pictures, what was measured. `checked` is None for an unreadable file."""

    report: PartReport
    checked: Checked | None


def check_file(
    path: Path,
    choices: Choices,
    rules: Iterable[Rule],
    *,
    name: str | None = None,
    adjustments: Adjustments = NO_ADJUSTMENTS,
    without: Mapping[str, str] | None = None,
    progress: Progress = Progress(),
) -> Result:
    """Check one file. Never raises for what is wrong in the file: that is an `unreadable` entry.

    `adjustments`: what the user changes of the rules; must have passed `check_adjustments`.
    `without`: rules that are not run, by id, and why: they crashed or hung when this file was tried before.
    Raises ValueError for a material id that the handbook does not have.
    """
    from lintsvc.readers import read_part
    from lintsvc.readers.content import sha256_of

    shown_name = name if name is not None else path.name
    progress.step("read", 0.0)
    started = time.perf_counter()
    digest = ""
    try:
        digest = sha256_of(path)
        part = read_part(path, _read_options(choices, shown_name, digest))
    except Unreadable as error:
        why = UnreadableShown(error.why, error.where, error.remedy)
        return Result(_unreadable(shown_name, digest, choices, why, time.perf_counter() - started), None)
    read_seconds = time.perf_counter() - started
    return check_part(
        part,
        choices,
        rules,
        adjustments=adjustments,
        without=without,
        progress=progress,
        read_seconds=read_seconds,
    )


def check_part(
    part: Part,
    choices: Choices,
    rules: Iterable[Rule],
    *,
    adjustments: Adjustments = NO_ADJUSTMENTS,
    without: Mapping[str, str] | None = None,
    progress: Progress = Progress(),
    read_seconds: float = 0.0,
    measured: BodyMeasurements | None = None,
) -> Result:
    """Check a part that is already read. `measured`: what an earlier check measured on the same body."""
    from lintsvc.rulebook.assumed_bends import assumed_of_bends
    from lintsvc.rulebook.shown import show_part, with_folded_size

    rules = list(rules)
    started = time.perf_counter()
    if choices.gauge is not None:
        from lintsvc.handbook.gauges import with_gauge

        choices = with_gauge(choices)
    if choices.process != "powder-bed":
        from lintsvc.rulebook.assembly import check_members, members_of

        members, why_none = members_of(part, lambda alone: recognised(alone, choices))
        if members:

            def check_one(alone: Part, said: Choices) -> Result:
                return check_part(alone, said, rules, adjustments=adjustments, without=without, progress=progress)

            whole = Checked(part, replace(choices, process="powder-bed"), None)
            report = check_members(part, members, choices, check_one, whole)
            seconds = Seconds(round(read_seconds, 4), 0.0, round(time.perf_counter() - started, 4))
            return Result(replace(report, seconds=seconds), whole)
        if why_none:
            part = replace(part, not_a_sheet_because=why_none)
    part = recognised(part, choices)
    part = replace(part, notes=(*part.notes, *_unlike_what_was_said(part, choices)))
    choices, assumed = assume(part, choices)
    material = material_of(choices)
    checked = Checked(part, choices, material)
    checked.measured = adjustments.measured
    if measured is not None:
        checked.body = measured
    progress.step("measure", 10.0)
    started = time.perf_counter()
    shown = show_part(checked)
    shown_at = time.perf_counter()
    without = without or {}
    adjusted = adjust([x for x in rules if applies(x, checked)], adjustments, choices.process, material)
    rules = [x for x in adjusted.rules if x.id not in without]
    done = 0

    def on_rule(rule_id: str) -> None:
        nonlocal done
        progress.step(rule_id, 30.0 + 65.0 * done / max(1, len(rules)))
        done += 1

    outcome = run_rules(rules, checked, on_rule=on_rule, on_finding=progress.finding)
    ended = time.perf_counter()
    thickness = None if checked.thickness_mm is None else Quantity(checked.thickness_mm, "mm")
    report = PartReport(
        file=part.file,
        sha256=part.sha256,
        process=choices.process,
        material=choices.material,
        thickness=thickness if choices.process == "sheet" else None,
        part=with_folded_size(shown, checked),
        findings=outcome.findings,
        not_checked=(
            *outcome.not_checked,
            *(NotChecked(rule, f"switched off: {place}") for rule, place in adjusted.off.items()),
            *(NotChecked(rule, why, failed=True) for rule, why in without.items()),
        ),
        # Lazy measurements run inside the first rule that needs them, so they count with the rules.
        seconds=Seconds(round(read_seconds, 4), round(shown_at - started, 4), round(ended - shown_at, 4)),
        format=part.format,
        assumed=assumed + assumed_of_bends(checked) + _of_the_shop(checked),
        notes=tuple(note.text for note in part.notes),
        checked=outcome.checked,
    )
    progress.step("report", 95.0)
    return Result(report, checked)


def _of_the_shop(checked: Checked) -> tuple[Assumed, ...]:
    """Return what parts that arrived have shown of such parts, with how much stands behind it."""
    from lintsvc.rulebook.measured import WHATS

    figures = [x for x in map(checked.came_out, WHATS) if x is not None]
    kinds = {"hole": "holes", "bend": "bends", "length": "lengths", "thickness": "thicknesses"}
    units = {"mm": " mm", "deg": "°"}
    return tuple(Assumed(kinds[x.what], f"{x.offset:+.3g}{units[x.unit]}", x.source.text) for x in figures)


def _unlike_what_was_said(part: Part, choices: Choices) -> Iterator[ReadNote]:
    """What a solid is otherwise than the user said."""
    if part.not_a_sheet_because and choices.process == "sheet":
        yield ReadNote("info", f"Not a sheet part: {part.not_a_sheet_because}.")
    own = None if part.sheet is None else part.sheet.thickness_mm
    said = choices.thickness_mm
    if own is not None and said is not None and abs(own - said) > _SAME_THICKNESS_MM:
        text = f"The sheet was said to be {said:.4g} mm thick; the solid is {own:.4g} mm thick, and is checked as that."
        yield ReadNote("info", text)


def checked_again(path: Path, choices: Choices, name: str, sha256: str) -> Checked:
    """Return the part of a file as `check_file` has it under check. Raises Unreadable."""
    from lintsvc.readers import read_part

    part = recognised(read_part(path, _read_options(choices, name, sha256)), choices)
    choices, _ = assume(part, choices)
    return Checked(part, choices, material_of(choices))


def _read_options(choices: Choices, name: str, sha256: str) -> ReadOptions:
    from lintsvc.readers.format import ReadOptions

    return ReadOptions(name, sha256, choices.units, choices.material, choices.k_factor, choices.lines)


def recognised(part: Part, choices: Choices) -> Part:
    """Return the part with its flat, where it is a solid of one constant thickness that may be meant as sheet."""
    if choices.process == "powder-bed" or part.sheet is not None or part.body is None or part.body.exact is None:
        return part
    if part.not_a_sheet_because:
        return part
    # The flat depends on the material's bend allowance.
    from lintsvc.measure.solid_sheet import as_sheet

    material = material_of(choices)
    return as_sheet(part, choices.material, choices.k_factor, None if material is None else material.family)


def assume(part: Part, choices: Choices) -> tuple[Choices, tuple[Assumed, ...]]:
    """Fill in what nobody chose and a sensible guess exists for, and say so."""
    assumed: list[Assumed] = []
    if choices.process is None:
        process: Process = "sheet" if part.kind == "sheet" else "powder-bed"
        why = (
            "a flat file, or a solid of one constant thickness, is taken as a sheet part"
            if part.kind == "sheet"
            else "a solid body is taken as a powder-bed print"
        )
        if part.not_a_sheet_because:
            why += f"; not a sheet part: {part.not_a_sheet_because}"
        choices = replace(choices, process=process)
        assumed.append(Assumed("process", process, why))
    if choices.material is None and choices.process == "powder-bed":
        choices = replace(choices, material="pa12")
        assumed.append(Assumed("material", "pa12", "the usual powder-bed nylon; choose another where it is meant"))
    made_of = material_of(choices)
    if choices.gauge is not None and made_of is not None and choices.process == "sheet":
        from lintsvc.handbook.gauges import gauge_of, gauge_words

        source = gauge_of(choices.gauge, made_of).source
        assumed.append(
            Assumed(
                "thickness",
                f"{choices.thickness_mm:.3f} mm",
                f"{gauge_words(choices.gauge, made_of)} ({source.text.rstrip('.')})",
            )
        )
    return choices, tuple(assumed)


def material_of(choices: Choices) -> Material | None:
    """Return the handbook's material of the choice, None for none. Raises ValueError for an unknown one."""
    if choices.material is None:
        return None
    from lintsvc.handbook.materials import material

    return material(choices.material)


def _unreadable(name: str, digest: str, choices: Choices, why: UnreadableShown, seconds: float) -> PartReport:
    return PartReport(
        file=name,
        sha256=digest,
        process=choices.process,
        material=choices.material,
        thickness=None if choices.thickness_mm is None else Quantity(choices.thickness_mm, "mm"),
        part=None,
        not_checked=(NotChecked("*", "the file could not be read"),),
        seconds=Seconds(read=round(seconds, 4)),
        unreadable=why,
    )
