"""What runs in the fenced child, and what the zygote warms up for it.

A job is a dict with `task`:
- `check`: reads the file `part`, applies the rules, writes `report.json` (one entry of the report) and
  `places.json` (see `lintsvc.reports.geometry`).
- `render`: makes something from the stored report in `report.json`, and for pictures the file `part`; writes `made`.
- `order`: makes something of an order from the files `order-0` (the order itself), `order-1` …; writes `made`.
- `catalogue`: writes `catalogue.json`, what the page needs to know of the rules.

`solid` says that one of the files may be STEP.
"""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lintsvc_worker.catalogue import catalogue, packs_version
from lintsvc_worker.fence import Held
from lintsvc_worker.measured import read_measured, write_measured

if TYPE_CHECKING:
    from lintsvc.model.finding import NotChecked
    from lintsvc.model.report import PartReport
    from lintsvc.rulebook.adjust import Adjustments
    from lintsvc.rulebook.packs import BrokenPack, Pack
    from lintsvc.rulebook.rule import Rule

log = logging.getLogger(__name__)

#: Files in the scratch folder.
PART, REPORT, PLACES, MADE, CATALOGUE = "part", "report.json", "places.json", "made", "catalogue.json"

#: Progress is told this often at most.
_TELL_SECONDS = 0.05
_FINDINGS_A_LINE = 50

#: Set for a warm process that is to leave the service's own packs out: why. They took an earlier one down.
PACKS_OFF = "LINTSVC_PACKS_OFF"

#: What is made of a finished check with nothing but what a check needs.
_AS_CHECKED = frozenset({"geometry", "widths", "lists"})

_packs: tuple[Pack, ...] = ()
#: Packs that could not be loaded. Every report says so.
_broken: tuple[BrokenPack, ...] = ()


class Say:
    """Tells the worker something, as one JSON line in the pipe.

    Every step is also written into a file, which costs next to nothing: that is how a rule that takes
    the child down is known. The pipe is for those who watch: it gets a step only now and then, and findings
    some at a time.
    """

    def __init__(self, pipe: int, steps: int) -> None:
        self._pipe, self._steps = pipe, steps
        self._next = time.monotonic() + _TELL_SECONDS
        self._found: list[dict[str, Any]] = []

    def step(self, step: str, percent: float) -> None:
        """A step begins."""
        os.write(self._steps, step.encode() + b"\n")
        if self._is_time():
            self(step=step, percent=round(percent, 1))

    def finding(self, finding: dict[str, Any]) -> None:
        """Something was found."""
        self._found.append(finding)
        if self._is_time():
            self.flush()

    def _is_time(self) -> bool:
        now = time.monotonic()
        if now < self._next:
            return False
        self._next = now + _TELL_SECONDS
        self.flush()
        return True

    def flush(self) -> None:
        """Tell what was found since the last time."""
        # A line of too many is not heard: see `zygote`.
        for start in range(0, len(self._found), _FINDINGS_A_LINE):
            self(findings=self._found[start : start + _FINDINGS_A_LINE])
        self._found.clear()

    def __call__(self, **message: Any) -> None:
        data = (json.dumps(message) + "\n").encode()
        while data:
            data = data[os.write(self._pipe, data) :]


def warm() -> str:
    """Load the packs and run checks of meshes and drawings once, so that a fork finds all loaded. Return the version.

    A pack that cannot be loaded is left out, and told in every report: it must not take the service down.
    """
    global _packs, _broken
    from lintsvc.rulebook.packs import BrokenPack, load_working_packs
    from lintsvc.settings import Settings

    settings = Settings.from_environment()
    folders = settings.rule_folders
    if off := os.environ.get(PACKS_OFF):
        _packs, _ = load_working_packs(())
        _broken = tuple(BrokenPack(x.name, x, off) for x in folders)
    else:
        _packs, _broken = load_working_packs(folders, code=settings.rule_code == "on")
    for broken in _broken:
        log.error("pack %s is left out: %s", broken.name, broken.why)
    _without_file_cache()
    from lintsvc_worker import warm_up

    warm_up.for_checks(_rules())
    return packs_version(_packs, _broken)


def warm_all() -> None:
    """After `warm`: load what `needs_all` is about."""
    from lintsvc_worker import warm_up

    warm_up.for_all_else(_rules())


def needs_all(job: Mapping[str, Any]) -> bool:
    """True for a job that needs the kernel for solids, or what reports and pictures are made with."""
    if job["task"] == "render" and job["name"] not in _AS_CHECKED:
        return True
    return job["task"] == "order" or bool(job.get("solid"))


def made_ahead(job: Mapping[str, Any]) -> bool:
    """True for a job that the page mostly has done before anybody wants it: every other job goes first."""
    return job["task"] == "render" and str(job["name"]).startswith("materials.")


def may_be_solid(part: Path) -> bool:
    """True for a file that looks like STEP. Nothing depends on it but how long the check takes.

    This is asked outside the fence, so nothing of the file is understood here but one word.
    """
    with part.open("rb") as file:
        return b"ISO-10303-21" in file.read(4096).replace(b"\0", b"")


def _rules() -> list[Rule]:
    return [x for pack in _packs for x in pack.rules]


def read_folders() -> Iterator[str]:
    """Folders that a child may have to read beside Python's own."""
    import lintsvc

    yield str(Path(lintsvc.__file__).parent)
    yield from (str(x.folder) for x in _packs)


def _without_file_cache() -> None:
    """Keep numba in the children from writing its cache: they may not, and it would raise."""
    try:
        from numba.core.caching import Cache
    except ImportError:
        return
    owner = os.getpid()
    cache: Any = Cache
    save, load = cache.save_overload, cache.load_overload

    def save_in_parent(self: Any, signature: Any, data: Any) -> None:
        if os.getpid() == owner:
            save(self, signature, data)

    def load_where_allowed(self: Any, signature: Any, target: Any) -> Any:
        try:
            return load(self, signature, target)
        except OSError:
            return None

    cache.save_overload = save_in_parent
    cache.load_overload = load_where_allowed


def run(job: dict[str, Any], scratch: Path, say: Say, held: Held) -> None:
    """Do one job."""
    match job["task"]:
        case "check":
            _check(job, scratch, say)
        case "render":
            from lintsvc_worker import render

            try:
                made = render.make(job, scratch, _rules(), _changes(job))
            except render.NothingToShow as why:
                say(nothing=str(why))
            else:
                (scratch / MADE).write_bytes(made)
        case "order":
            from lintsvc_worker import order

            try:
                made = order.make(job, scratch, _rules(), say.step)
            except order.CannotMake as why:
                say(nothing=str(why))
            else:
                (scratch / MADE).write_bytes(made)
        case "catalogue":
            told = {
                **catalogue(_packs, _broken),
                "fence": {
                    "namespaces": held.namespaces,
                    "landlock": held.landlock,
                    "seccomp": held.seccomp,
                    "other_user": held.other_user,
                },
            }
            (scratch / CATALOGUE).write_text(json.dumps(told))


def _check(job: dict[str, Any], scratch: Path, say: Say) -> None:
    from lintsvc.model.choices_words import CHANGES, choices_from_dict
    from lintsvc.model.finding import NotChecked
    from lintsvc.reports.geometry import place_findings, sent_order
    from lintsvc.reports.json_report import finding_to_dict, part_to_dict
    from lintsvc.rulebook.adjust import changes_from_dict, check_adjustments
    from lintsvc.rulebook.check import Progress, check_file, check_part
    from lintsvc.rulebook.engine import applies
    from lintsvc.rulebook.packs import changes_of
    from lintsvc.rulebook.rule import RuleError

    lost: dict[str, str] = job.get("without", {})
    only: list[str] | None = job.get("only")
    everything = _rules()
    rules = [x for x in everything if x.id not in lost and (only is None or x.id in only)]
    changes = changes_of(_packs)
    if sent := job["choices"].get(CHANGES):
        try:
            changes = changes.then(changes_from_dict(sent))
            check_adjustments(everything, changes)
        except RuleError as error:
            (scratch / REPORT).write_text(json.dumps(_refused(job, str(error))))
            (scratch / PLACES).write_text('{"findings": []}')
            return
    progress = Progress(
        step=say.step,
        finding=lambda finding: say.finding(finding_to_dict(_short(finding))),
    )
    choices = choices_from_dict(job["choices"])
    kept = read_measured(scratch, job["name"], choices.process, choices.units)
    if kept is not None:
        result = check_part(kept.part, choices, rules, adjustments=changes, progress=progress, measured=kept.body)
    else:
        result = check_file(scratch / PART, choices, rules, name=job["name"], adjustments=changes, progress=progress)
    report: PartReport = result.report
    if lost:
        added = tuple(NotChecked(rule, why, failed=True) for rule, why in lost.items())
        if only is not None and result.checked is not None:
            left_out = [x for x in everything if x.id not in lost and x.id not in only and applies(x, result.checked)]
            added += tuple(NotChecked(x.id, "no time was left for it", failed=True) for x in left_out)
        report = replace(report, not_checked=report.not_checked + added)
    report = replace(report, not_checked=report.not_checked + _left_out_packs())
    say.step("write", 97.0)
    say.flush()
    order = None
    body = None if result.checked is None else result.checked.part.body
    if body is not None and any(x.where is not None and x.where.faces for x in report.findings):
        order = sent_order(body)
    (scratch / PLACES).write_text(json.dumps(place_findings(report.findings, order), allow_nan=False))
    (scratch / REPORT).write_text(json.dumps(part_to_dict(report), allow_nan=False))
    # Also after a check from what was kept: another material may have asked for wider places than were measured.
    if result.checked is not None and not lost:
        write_measured(scratch, result.checked, report.seconds.measure + report.seconds.rules)


def _left_out_packs() -> tuple[NotChecked, ...]:
    """What reports say of packs that could not be loaded: their rules were not checked."""
    from lintsvc.model.finding import NotChecked

    return tuple(NotChecked(f"{x.name}/*", f"the service could not load this pack: {x.why}") for x in _broken)


def _changes(job: dict[str, Any]) -> Adjustments:
    """What the packs change of the rules, and the check's sender: theirs was looked at when the check ran."""
    from lintsvc.model.choices_words import CHANGES
    from lintsvc.rulebook.adjust import changes_from_dict
    from lintsvc.rulebook.packs import changes_of

    changes = changes_of(_packs)
    sent = job["choices"].get(CHANGES)
    return changes.then(changes_from_dict(sent)) if sent else changes


def _refused(job: dict[str, Any], why: str) -> dict[str, Any]:
    """The entry of a file that was not checked, because what was sent with it cannot be used: never a pass."""
    from lintsvc.model.choices_words import choices_from_dict
    from lintsvc.model.finding import NotChecked
    from lintsvc.model.report import PartReport, UnreadableShown
    from lintsvc.reports.json_report import part_to_dict

    choices = choices_from_dict(job["choices"])
    return part_to_dict(
        PartReport(
            file=job["name"],
            sha256="",
            process=choices.process,
            material=choices.material,
            thickness=None,
            part=None,
            not_checked=(NotChecked("*", why, failed=True),),
            unreadable=UnreadableShown(why, "in what was sent with the file", "Set it right, and send the file again."),
        )
    )


def _short(finding: Any) -> Any:
    """A finding as an event carries it: without the long lists, which come with the report."""
    where = finding.where
    return finding if where is None else replace(finding, where=replace(where, faces=(), entities=(), lines=()))
