"""`lintsvc order`."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc import __version__
from lintsvc.commands import output
from lintsvc.commands.check import NOTHING, UNFINISHED, exit_status
from lintsvc.commands.jobs import Job
from lintsvc.commands.options import cache_option, fail_on_option, format_option, output_option, set_aside_option
from lintsvc.commands.order_apart import check_apart, entry_of
from lintsvc.commands.packs import packs_or_fail, rules_option
from lintsvc.commands.plan import choices_of, rule_folders_of, set_asides_of
from lintsvc.commands.run import open_cache, run_jobs
from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import choices_to_words
from lintsvc.model.report import OrderReport, PartReport, Report
from lintsvc.project.config import ConfigError
from lintsvc.project.project import Project
from lintsvc.rulebook.adjust import Adjustments

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.packet.drawn import Drawn
    from lintsvc.project.cache import Cache
    from lintsvc.project.set_aside import SetAside
    from lintsvc.reports.picture import Svgs


@dataclass(frozen=True)
class Checked:
    """An order with its parts checked, and what else the command needs for it."""

    order: CheckedOrder
    adjustments: Adjustments
    rule_folders: tuple[Path, ...]
    set_asides: tuple[SetAside, ...]
    pictures: dict[int, Svgs]
    troubles: list[str]
    fail_on: str
    #: What a packet shows of each part, by id, where it was asked for.
    drawn: dict[str, Drawn] = field(default_factory=dict)

    def report(self) -> Report:
        """Run the rules of orders and return the whole report, what was set aside told as such."""
        from lintsvc.reports.json_report import order_to_dict

        key = self._key()
        entry = _known_entry(self.order.kept.find(key), self.order.name)
        if entry is None:
            rules = [rule for pack in packs_or_fail(self.rule_folders) for rule in pack.rules]
            entry = check_apart(self.order, rules, self.adjustments)
            if not any(x.failed for x in entry.not_checked):
                self.order.kept.keep(key, json.dumps(order_to_dict(entry)).encode())
        parts = [(x.report, x.path) for x in self.order.parts]
        decided = [self._decided(x, path) for x, path in parts]
        order = self._decided(entry, self.order.path)
        return Report(tuple(decided), made_by=__version__, order=order)  # type: ignore[arg-type]

    def _key(self) -> str:
        """Return the key of the order's own entry: all that it depends on."""
        order = self.order
        digest = hashlib.sha256(f"order|{order.sha256}|{order.today}|{order.shop!r}|{self.adjustments!r}".encode())
        for part in order.parts:
            digest.update(f"|{part.report.sha256}|{part.choices!r}|".encode() + (part.shape_bytes or b""))
        for thing in order.bought:
            digest.update(b"|" + (thing.shape_bytes or b""))
        return digest.hexdigest()

    def _decided(self, entry: PartReport, path: Path) -> PartReport:
        for set_aside in self.set_asides:
            entry = set_aside.apply(entry, path)
        return entry


def _known_entry(data: bytes | None, name: str) -> OrderReport | None:
    """Return the order's entry as it was kept, under the file's present name; None where nothing is."""
    found = None if data is None else entry_of(data)
    return None if found is None else replace(found, file=name)


class Kept:
    """Results of long calculations in the cache of results, by what they depend on."""

    def __init__(self, cache: Cache) -> None:
        self.cache = cache

    def find(self, key: str) -> bytes | None:
        """Return what is kept under a key; None where nothing is."""
        return self.cache.find_bytes(self._key(key))

    def keep(self, key: str, data: bytes) -> None:
        """Keep something under a key."""
        self.cache.keep_bytes(self._key(key), data)

    def _key(self, key: str) -> str:
        return hashlib.sha256(f"{self.cache.version}|{key}".encode()).hexdigest()


def checked_order(
    file: Path,
    folders: Sequence[Path] = (),
    *,
    cache: bool = True,
    picture: bool = False,
    drawn: bool = False,
    set_aside: Path | None = None,
) -> Checked:
    """Read an order and check its parts by the checking processes, unchanged ones from the cache.

    Raises UsageError for what is wrong in the order, a lintsvc.toml or a rule file.
    """
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.choices import choices_of as choices_of_entry
    from lintsvc.order.kept import NOTHING_KEPT
    from lintsvc.order.load import shop_of
    from lintsvc.order.read import OrderError, read_order
    from lintsvc.order.things import BoughtThing, OrderedPart
    from lintsvc.readers.content import sha256_of

    try:
        order = read_order(file)
        shop = shop_of(file, order)
    except OrderError as error:
        raise click.UsageError(str(error)) from None
    project = Project(Path.cwd())
    jobs: list[Job] = []
    try:
        for entry in order.part:
            path = file.parent / entry.file
            held = project.held(path)
            choices = choices_of({**dict(held.words), **choices_to_words(choices_of_entry(entry))})
            job = Job(
                len(jobs),
                path,
                str(path),
                choices,
                adjustments=held.adjustments.then(shop.adjustments(entry.supplier)),
                shape=True,
            )
            jobs.append(replace(job, picture=picture, close_ups=picture, drawn=drawn))
        files = {x.id: len(order.part) + i for i, x in enumerate(x for x in order.bought if x.shape == "file")}
        for thing in (x for x in order.bought if x.shape == "file"):
            path = file.parent / (thing.file or "")
            choices = Choices(process="powder-bed", units=thing.units)
            jobs.append(Job(len(jobs), path, str(path), choices, shape=True, rules=False))
        configs = {x.path: x for folder in (file.parent, Path.cwd()) for x in project.configs(folder)}
        rule_folders = rule_folders_of(folders, configs.values())
        set_asides = tuple(set_asides_of(set_aside, configs.values()))
        adjustments = project.held(file).adjustments.then(shop.limits)
    except ConfigError as error:
        raise click.UsageError(str(error)) from None
    ran = run_jobs(jobs, rule_folders, cache=cache)
    parts = [
        OrderedPart(entry, job.path, job.choices, report, ran.shapes.get(job.number), shop)
        for entry, job, report in zip(order.part, jobs, ran.parts, strict=False)
    ]
    bought = [BoughtThing(x, ran.shapes.get(files[x.id]) if x.id in files else None) for x in order.bought]
    kept = Kept(open_cache(rule_folders)) if cache else NOTHING_KEPT
    today = datetime.now(UTC).date()
    checked = CheckedOrder(file, str(file), sha256_of(file), order, tuple(parts), tuple(bought), today, shop, kept)
    fail_on = next((x.fail_on for x in reversed(list(configs.values())) if x.fail_on), "error")
    shown = {x.id: ran.drawn[i] for i, x in enumerate(order.part) if i in ran.drawn}
    return Checked(checked, adjustments, rule_folders, set_asides, ran.pictures, ran.troubles, fail_on, shown)


def with_order(
    jobs: Sequence[Job], file: Path, folders: Sequence[Path], *, cache: bool, set_aside: Path | None
) -> tuple[list[Job], OrderReport | None]:
    """Return the jobs with the choices that an order makes for its parts, and the order's own entry."""
    done = checked_order(file, folders, cache=cache, set_aside=set_aside)
    said = {x.path.resolve(): x for x in done.order.parts}
    chosen = [replace(x, choices=said[x.path.resolve()].choices) if x.path.resolve() in said else x for x in jobs]
    return chosen, done.report().order


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@rules_option
@format_option
@output_option
@fail_on_option
@set_aside_option
@cache_option
def order(
    file: Path,
    folders: tuple[Path, ...],
    form: str,
    target: Path | None,
    fail_on: str | None,
    set_aside: Path | None,
    cache: bool,
) -> int:
    """Check an order: its parts, and what they have to do with each other.

    FILE is an order.toml; its JSON Schema comes from `lintsvc schema order`. Exit status as of `lintsvc check`.
    """
    from lintsvc.reports.words import clean

    done = checked_order(file, folders, cache=cache, picture=form == "html", set_aside=set_aside)
    report = done.report()
    level = fail_on or done.fail_on
    troubles = list(done.troubles)
    try:
        output.write_report(
            report, form, target, fail_on=level, rule_folders=done.rule_folders, pictures=done.pictures, paths={}
        )
    except BrokenPipeError:
        raise
    except OSError as error:
        troubles.append(f"{target}: {error.strerror or error}")
    for line in (*(y for x in done.set_asides for y in x.stale()), *(f"could not write {x}" for x in troubles)):
        click.echo(clean(line), err=True)
    return max(exit_status(report, level), UNFINISHED if troubles else NOTHING)
