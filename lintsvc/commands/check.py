"""`lintsvc check`."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc import __version__
from lintsvc.commands import output
from lintsvc.commands.jobs import Job
from lintsvc.commands.options import cache_option, fail_on_option, format_option, output_option, set_aside_option
from lintsvc.commands.packs import rules_option
from lintsvc.commands.plan import Plan, choices_of, make_plan
from lintsvc.commands.run import Ran, run_jobs
from lintsvc.commands.sheet_options import sheet_options
from lintsvc.model.report import PartReport, Report
from lintsvc.project.config import ConfigError

if TYPE_CHECKING:
    from lintsvc.project.baseline import Baseline
    from lintsvc.reports.picture import Svgs

NOTHING, FINDINGS, UNREADABLE, UNFINISHED = 0, 1, 2, 3


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH...")
@click.option("--process", metavar="NAME", help="powder-bed or sheet. Guessed from the file when left out.")
@click.option("--material", metavar="ID", help="A material of `lintsvc materials`.")
@click.option("--thickness", metavar="LENGTH", help="Sheet thickness: 2mm, 0.08in, or a gauge of the material: 16ga.")
@click.option("--units", metavar="UNIT", help="The unit that was meant, where the file is wrong or silent: mm, in …")
@click.option("--bend-radius", metavar="LENGTH", help="Inside radius of bends that state none.")
@click.option("--cut", metavar="HOW", help="How a sheet part is cut: laser (when left out), water-jet, router, knife.")
@click.option("--k-factor", metavar="NUMBER", help="The shop's own K-factor.")
@click.option("--finished-size", metavar="SIZE", help="The outside size that is meant after bending: 40x30x12mm.")
@sheet_options
@rules_option
@format_option
@output_option
@click.option(
    "--highlights",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write the geometry there with the findings lit: GLB for bodies, SVG and DXF for flats.",
)
@fail_on_option
@click.option("--changed-since", metavar="COMMIT", help="Only files that changed since a commit of git.")
@click.option(
    "--baseline",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="An earlier JSON report: what it has found already does not count.",
)
@set_aside_option
@click.option(
    "--order",
    "order_file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="An order.toml: its parts are checked as it says, and how they go together is checked too.",
)
@click.option(
    "--server",
    metavar="URL",
    help="Let a service check the files, with its own rules and what lintsvc.toml changes of them. Only files that it "
    "does not have are uploaded. A token is read from the variable LINTSVC_TOKEN.",
)
@cache_option
def check(
    paths: tuple[Path, ...],
    folders: tuple[Path, ...],
    form: str,
    target: Path | None,
    highlights: Path | None,
    fail_on: str | None,
    changed_since: str | None,
    baseline: Path | None,
    set_aside: Path | None,
    order_file: Path | None,
    server: str | None,
    cache: bool,
    **words: str | None,
) -> int:
    """Check part files, and the part files in folders, against the rules of their process.

    What lintsvc.toml says of a file holds for it, options win over that. Exit status: 0 nothing at or
    above the level of --fail-on; 1 findings; 2 bad usage or a file that cannot be read; 3 a check that
    could not be finished.
    """
    said = {key: word for key, word in words.items() if word is not None}
    choices_of(said)
    known = _baseline(baseline)
    _writable(target, highlights)
    plan = make_plan(paths, said, folders, changed_since=changed_since, set_aside=set_aside)
    drawn = form == "html" or (form == "markdown" and highlights is not None)
    jobs = _with_pictures(plan.jobs, highlights, picture=drawn, close_ups=form == "html")
    entry = None
    if order_file is not None:
        from lintsvc.commands.order import with_order

        if server is not None:
            raise click.UsageError("an order is checked here: leave out --server, or --order")
        jobs, entry = with_order(jobs, order_file, folders, cache=cache, set_aside=set_aside)
    done = run_jobs(jobs, plan.rule_folders, cache=cache) if server is None else _remote(jobs, plan, server)
    parts = [_decided(part, job, plan, known) for part, job in zip(done.parts, jobs, strict=True)]
    report = Report(tuple(parts), made_by=__version__, order=entry)
    level = fail_on or plan.fail_on
    troubles = list(done.troubles)
    try:
        drawings = _write_pictures(jobs, done.pictures, target) if form == "markdown" else {}
        output.write_report(
            report, form, target,
            fail_on=level, rule_folders=plan.rule_folders, pictures=done.pictures, paths=drawings,
        )  # fmt: skip
    except BrokenPipeError:
        raise
    except OSError as error:
        troubles.append(f"{target}: {error.strerror or error}")
    for line in (*_remarks(plan, known, parts), *(f"could not write {x}" for x in troubles)):
        click.echo(line, err=True)
    return max(exit_status(report, level), UNFINISHED if troubles else NOTHING)


def _remote(jobs: Sequence[Job], plan: Plan, server: str) -> Ran:
    # Imported here: only this way needs an HTTP client.
    from lintsvc.commands.remote import run_remote

    return run_remote(jobs, plan.rule_folders, server)


def exit_status(report: Report, fail_on: str) -> int:
    """Return the status that a report ends the command with: the worst of its files."""
    from lintsvc.reports.words import at_or_above

    status = NOTHING
    for part in report.entries:
        if any(x.failed for x in part.not_checked):
            status = max(status, UNFINISHED)
        if part.unreadable is not None:
            status = max(status, UNREADABLE)
        if any(at_or_above(x.level, fail_on) and not x.set_aside for x in part.findings):
            status = max(status, FINDINGS)
    return status


def _write_pictures(jobs: Sequence[Job], pictures: Mapping[int, Svgs], target: Path | None) -> dict[int, str]:
    """Write each picture beside the highlights; return their paths as seen from where the report is read."""
    paths = {}
    for job in jobs:
        shown = pictures.get(job.number)
        if shown is not None and shown.whole is not None and job.highlights is not None:
            folder, stem = job.highlights
            path = folder / f"{stem}.picture.svg"
            path.write_text(shown.whole, "utf-8")
            start = Path.cwd() if target is None else target.absolute().parent
            paths[job.number] = Path(os.path.relpath(path, start)).as_posix()
    return paths


def _baseline(path: Path | None) -> Baseline | None:
    if path is None:
        return None
    from lintsvc.project.baseline import read_baseline

    try:
        return read_baseline(path)
    except ConfigError as error:
        raise click.BadParameter(str(error), param_hint="--baseline") from None


def _decided(part: PartReport, job: Job, plan: Plan, known: Baseline | None) -> PartReport:
    """Return the entry with what was decided about, and what was known before, set aside."""
    for set_aside in plan.set_asides:
        part = set_aside.apply(part, job.path)
    return part if known is None else known.apply(part)


def _remarks(plan: Plan, known: Baseline | None, parts: Sequence[PartReport]) -> Iterator[str]:
    """Yield what is to be said beside the report."""
    from lintsvc.reports.words import clean, plural

    if plan.uncovered:
        listed = ", ".join(clean(x) for x in plan.uncovered[:5]) + (" …" if len(plan.uncovered) > 5 else "")
        yield f"{plural(len(plan.uncovered), 'part file')} not checked, no entry of lintsvc.toml names them: {listed}"
    for set_aside in plan.set_asides:
        yield from (clean(x) for x in set_aside.stale())
    gone = known.gone({x.file for x in parts}) if known is not None else 0
    if known is not None and gone:
        yield f"{plural(gone, 'finding')} of {known.path} no longer there; write the baseline anew"


def _writable(target: Path | None, highlights: Path | None) -> None:
    """Say now what would only be noticed after all the checking."""
    if target is not None and (target.is_dir() or not target.absolute().parent.is_dir()):
        raise click.BadParameter(f"{target} is a folder, or in a folder that is not there", param_hint="--output")
    if highlights is not None:
        try:
            highlights.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise click.BadParameter(f"{highlights}: {error.strerror or error}", param_hint="--highlights") from None


def _with_pictures(jobs: Sequence[Job], highlights: Path | None, *, picture: bool, close_ups: bool) -> list[Job]:
    """Return the jobs with what is to be drawn of each."""
    from lintsvc.reports.highlights import safe_stem

    taken: set[str] = set()
    return [
        replace(
            job,
            highlights=None if highlights is None else (highlights.absolute(), safe_stem(job.name, taken)),
            picture=picture,
            close_ups=close_ups,
        )
        for job in jobs
    ]
