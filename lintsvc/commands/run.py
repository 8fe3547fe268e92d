"""Running the jobs of a check: from the cache, or by the checking processes, with progress on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc.commands import crew
from lintsvc.commands.jobs import Compiling, Done, Job, Lost, Message, Refused, Step
from lintsvc.model.finding import NotChecked, Quantity
from lintsvc.model.report import PartReport, UnreadableShown

if TYPE_CHECKING:
    from lintsvc.packet.drawn import Drawn
    from lintsvc.project.cache import Cache
    from lintsvc.reports.picture import Svgs


@dataclass
class Ran:
    """What came of the jobs: entries in the jobs' order, pictures by number, and what could not be written."""

    parts: list[PartReport] = field(default_factory=list)
    pictures: dict[int, Svgs] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)
    #: Shapes by number, for the jobs that wanted them.
    shapes: dict[int, bytes] = field(default_factory=dict)
    #: What a packet shows of the parts, by number, for the jobs that wanted it.
    drawn: dict[int, Drawn] = field(default_factory=dict)


def run_jobs(jobs: Sequence[Job], rule_folders: Sequence[Path], *, cache: bool = True) -> Ran:
    """Check the files. Raises UsageError for what is wrong in a rule file, a change of a rule, or a setting."""
    bounds = _bounds()
    store = open_cache(rule_folders) if cache and jobs else None
    keys = _keys(jobs, store) if store is not None else {}
    parts = {number: part for number, key in keys.items() if (part := _known(store, key, jobs[number])) is not None}
    ran = Ran()
    if store is not None:
        for job in jobs:
            if job.shape and job.number in keys and (shape := store.find_bytes(keys[job.number])) is not None:
                ran.shapes[job.number] = shape
    left = [x for x in jobs if x.number not in parts or (x.shape and x.number not in ran.shapes)]
    with Progress(len(jobs), len(jobs) - len(left), {x.number: x.name for x in jobs}) as show:
        for message in crew.run(left, rule_folders, bounds):
            show(message)
            match message:
                case Done(number, report, pictures, trouble, shape, drawn):
                    parts[number] = report
                    if store is not None and number in keys:
                        store.keep(keys[number], report)
                        if shape is not None:
                            store.keep_bytes(keys[number], shape)
                    if shape is not None:
                        ran.shapes[number] = shape
                    if pictures is not None:
                        ran.pictures[number] = pictures
                    if drawn is not None:
                        ran.drawn[number] = drawn
                    ran.troubles += [trouble] if trouble else []
                case Lost(number, step, why):
                    parts[number] = _lost(jobs[number], step, why)
                case Refused(why):
                    raise click.UsageError(why)
    if store is not None:
        store.prune()
    ran.parts = [parts[x.number] for x in jobs]
    return ran


def open_cache(rule_folders: Sequence[Path]) -> Cache:
    """Return the cache of results under these rules."""
    from lintsvc.project.cache import Cache, cache_folder
    from lintsvc.rulebook.packs import built_in_folder, installed_folders
    from lintsvc.rulebook.version import rules_version

    return Cache(cache_folder(), rules_version([built_in_folder(), *installed_folders(), *rule_folders]))


def _keys(jobs: Sequence[Job], store: Cache) -> dict[int, str]:
    """Return the keys of the jobs that a known result is enough for: no picture, nothing to draw."""
    from lintsvc.model.part import Unreadable
    from lintsvc.readers.content import sha256_of

    keys = {}
    for job in jobs:
        if job.picture or job.drawn or job.highlights is not None:
            continue
        try:
            key = store.key(sha256_of(job.path), job.choices, job.adjustments)
            keys[job.number] = key if job.rules else store.key(key, job.choices, job.adjustments)
        except Unreadable:
            continue  # the check itself says what is wrong
    return keys


def _known(store: Cache | None, key: str, job: Job) -> PartReport | None:
    return None if store is None else store.find(key, job.name)


def _bounds() -> crew.Bounds:
    from lintsvc.settings import BadSetting, Settings

    try:
        settings = Settings.from_environment()
    except BadSetting as error:
        raise click.UsageError(str(error)) from None
    return crew.Bounds(settings.file_seconds, settings.step_seconds, settings.memory_mib)


_DOING = {"read": "Reading", "measure": "Measuring"}


def _lost(job: Job, step: str, why: str) -> PartReport:
    """The entry of a file whose check came to nothing: never a pass."""
    why = f"{_DOING.get(step, 'Checking')} this file could not be finished: {why}."
    remedy = "Export the part more simply: fewer triangles or curves, or one part a file."
    thickness = job.choices.thickness_mm
    return PartReport(
        file=job.name,
        sha256="",
        process=job.choices.process,
        material=job.choices.material,
        thickness=None if thickness is None else Quantity(thickness, "mm"),
        part=None,
        not_checked=(NotChecked("*", why, failed=True),),
        unreadable=UnreadableShown(why, f"at {step}" if step else "", remedy),
    )


class Progress:
    """One line on standard error while files are checked, where that is a terminal; nothing elsewhere."""

    def __init__(self, count: int, done: int, names: dict[int, str]) -> None:
        self.count = count
        self.done = done
        self.names = names
        self.shown = sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        if self.shown:
            click.echo("\r\x1b[K", err=True, nl=False)

    def done_with(self, number: int) -> None:
        """A file is done elsewhere."""
        self.done += 1
        if self.shown:
            from lintsvc.reports.words import clean

            click.echo(
                "\r" + f"{self.done} of {self.count}  {clean(self.names[number])}"[:100] + "\x1b[K", err=True, nl=False
            )

    def __call__(self, message: Message) -> None:
        if not self.shown:
            return
        self.done += isinstance(message, Done | Lost)
        if isinstance(message, Compiling) and message.begins:
            click.echo("\rcompiling the measuring code, once …\x1b[K", err=True, nl=False)
        if isinstance(message, Step):
            from lintsvc.reports.words import clean

            name = clean(self.names[message.number])
            line = f"{self.done + 1} of {self.count}  {name}  {message.step} {message.percent:.0f} %"
            click.echo("\r" + line[:100] + "\x1b[K", err=True, nl=False)
