"""One file from bytes to report: read, measure, apply rules, rank. The flow that all three ways in share."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from lintsvc.model.choices import Assumed, Choices, Process
from lintsvc.model.finding import Finding, NotChecked, Quantity
from lintsvc.model.material import Material
from lintsvc.model.part import Part, Unreadable
from lintsvc.model.report import PartReport, Seconds, UnreadableShown
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, adjust
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.engine import applies, run_rules
from lintsvc.rulebook.rule import Rule


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
    from lintsvc.readers.format import ReadOptions

    shown_name = name if name is not None else path.name
    progress.step("read", 0.0)
    started = time.perf_counter()
    digest = ""
    try:
        digest = sha256_of(path)
        options = ReadOptions(shown_name, digest, choices.units, choices.material, choices.k_factor)
        part = read_part(path, options)
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
) -> Result:
    """Check a part that is already read."""
    from lintsvc.rulebook.assumed_bends import assumed_of_bends
    from lintsvc.rulebook.shown import show_part

    material = _material(choices)
    if choices.process != "powder-bed" and part.sheet is None and part.body is not None and part.body.exact is not None:
        # A solid may be a bent sheet; its flat depends on the material's bend allowance.
        from lintsvc.measure.solid_sheet import as_sheet

        family = None if material is None else material.family
        part = as_sheet(part, choices.material, choices.k_factor, family)
    choices, assumed = assume(part, choices)
    material = _material(choices)
    checked = Checked(part, choices, material)
    progress.step("measure", 10.0)
    started = time.perf_counter()
    shown = show_part(checked)
    measured = time.perf_counter()
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
        part=shown,
        findings=outcome.findings,
        not_checked=(
            *outcome.not_checked,
            *(NotChecked(rule, f"switched off: {place}") for rule, place in adjusted.off.items()),
            *(NotChecked(rule, why, failed=True) for rule, why in without.items()),
        ),
        # Lazy measurements run inside the first rule that needs them, so they count with the rules.
        seconds=Seconds(round(read_seconds, 4), round(measured - started, 4), round(ended - measured, 4)),
        format=part.format,
        assumed=assumed + assumed_of_bends(checked),
        notes=tuple(note.text for note in part.notes),
        checked=outcome.checked,
    )
    progress.step("report", 95.0)
    return Result(report, checked)


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
    return choices, tuple(assumed)


def _material(choices: Choices) -> Material | None:
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
