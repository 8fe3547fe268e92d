"""What runs in the fenced child, and what the zygote warms up for it.

A job is a dict with `task`:
- `check`: reads the file `part`, applies the rules, writes `report.json` (one entry of the report) and
  `places.json` (see `lintsvc.reports.geometry`).
- `render`: makes something from the stored report in `report.json`, and for pictures the file `part`; writes `made`.
- `catalogue`: writes `catalogue.json`, what the page needs to know of the rules.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lintsvc_worker.catalogue import catalogue, packs_version
from lintsvc_worker.fence import Held

if TYPE_CHECKING:
    from lintsvc.model.report import PartReport
    from lintsvc.rulebook.packs import Pack

#: Files in the scratch folder.
PART, REPORT, PLACES, MADE, CATALOGUE = "part", "report.json", "places.json", "made", "catalogue.json"

#: Progress is told this often at most.
_TELL_SECONDS = 0.05

_packs: tuple[Pack, ...] = ()


class Say:
    """Tells the worker something, as one JSON line in the pipe.

    Every step is also written into a file, which costs next to nothing: that is how a rule that takes
    the child down is known. The pipe is for those who watch, and gets a step only now and then.
    """

    def __init__(self, pipe: int, steps: int) -> None:
        self._pipe, self._steps = pipe, steps
        self._next = 0.0

    def step(self, step: str, percent: float) -> None:
        """A step begins."""
        os.write(self._steps, step.encode() + b"\n")
        now = time.monotonic()
        if now >= self._next:
            self._next = now + _TELL_SECONDS
            self(step=step, percent=round(percent, 1))

    def __call__(self, **message: Any) -> None:
        data = (json.dumps(message) + "\n").encode()
        while data:
            data = data[os.write(self._pipe, data) :]


def warm() -> str:
    """Load the packs and run a check of each kind once, so that a fork finds everything loaded. Return the version."""
    global _packs
    from lintsvc.rulebook.packs import load_packs
    from lintsvc.settings import Settings

    _packs = load_packs(Settings.from_environment().rule_folders)
    _without_file_cache()
    from lintsvc_worker import warm_up

    warm_up.run([x for pack in _packs for x in pack.rules])
    return packs_version(_packs)


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
                made = render.make(job, scratch, [x for pack in _packs for x in pack.rules])
            except render.NothingToShow as why:
                say(nothing=str(why))
            else:
                (scratch / MADE).write_bytes(made)
        case "catalogue":
            told = {
                **catalogue(_packs),
                "fence": {
                    "namespaces": held.namespaces,
                    "landlock": held.landlock,
                    "seccomp": held.seccomp,
                    "other_user": held.other_user,
                },
            }
            (scratch / CATALOGUE).write_text(json.dumps(told))


def _check(job: dict[str, Any], scratch: Path, say: Say) -> None:
    from lintsvc.model.choices_words import choices_from_dict
    from lintsvc.model.finding import NotChecked
    from lintsvc.reports.geometry import place_findings, sent_order
    from lintsvc.reports.json_report import finding_to_dict, part_to_dict
    from lintsvc.rulebook.check import Progress, check_file
    from lintsvc.rulebook.engine import applies
    from lintsvc.rulebook.packs import changes_of

    lost: dict[str, str] = job.get("without", {})
    only: list[str] | None = job.get("only")
    everything = [x for pack in _packs for x in pack.rules]
    rules = [x for x in everything if x.id not in lost and (only is None or x.id in only)]
    progress = Progress(
        step=say.step,
        finding=lambda finding: say(finding=finding_to_dict(_short(finding))),
    )
    result = check_file(
        scratch / PART,
        choices_from_dict(job["choices"]),
        rules,
        name=job["name"],
        adjustments=changes_of(_packs),
        progress=progress,
    )
    report: PartReport = result.report
    if lost:
        added = tuple(NotChecked(rule, why, failed=True) for rule, why in lost.items())
        if only is not None and result.checked is not None:
            left_out = [x for x in everything if x.id not in lost and x.id not in only and applies(x, result.checked)]
            added += tuple(NotChecked(x.id, "no time was left for it", failed=True) for x in left_out)
        report = replace(report, not_checked=report.not_checked + added)
    say.step("write", 97.0)
    order = None
    body = None if result.checked is None else result.checked.part.body
    if body is not None and any(x.where is not None and x.where.faces for x in report.findings):
        order = sent_order(body)
    (scratch / PLACES).write_text(json.dumps(place_findings(report.findings, order), allow_nan=False))
    (scratch / REPORT).write_text(json.dumps(part_to_dict(report), allow_nan=False))


def _short(finding: Any) -> Any:
    """A finding as an event carries it: without the long lists, which come with the report."""
    where = finding.where
    return finding if where is None else replace(finding, where=replace(where, faces=(), entities=(), lines=()))
