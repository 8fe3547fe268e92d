"""`lintsvc check`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import click

from lintsvc import __version__
from lintsvc.commands import crew, output
from lintsvc.commands.jobs import Done, Job, Lost, Message, Refused, Step
from lintsvc.commands.packs import rules_option
from lintsvc.commands.paths import Found, find_files
from lintsvc.model.choices import Choices
from lintsvc.model.finding import NotChecked, Quantity
from lintsvc.model.report import PartReport, Report, UnreadableShown

NOTHING, FINDINGS, UNREADABLE, UNFINISHED = 0, 1, 2, 3


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH...")
@click.option("--process", metavar="NAME", help="powder-bed or sheet. Guessed from the file when left out.")
@click.option("--material", metavar="ID", help="A material of `lintsvc materials`.")
@click.option("--thickness", metavar="LENGTH", help="Sheet thickness: 2mm, 0.08in.")
@click.option("--units", metavar="UNIT", help="The unit that was meant, where the file is wrong or silent: mm, in …")
@click.option("--bend-radius", metavar="LENGTH", help="Inside radius of bends that state none.")
@click.option("--k-factor", metavar="NUMBER", help="The shop's own K-factor.")
@rules_option
@click.option(
    "--format",
    "form",
    type=click.Choice(output.FORMATS),
    default="text",
    show_default=True,
    help="How the report is written.",
)
@click.option("--output", "target", type=click.Path(path_type=Path), metavar="FILE", help="Write the report there.")
@click.option(
    "--highlights",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write the geometry there with the findings lit: GLB for bodies, SVG and DXF for flats.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["error", "warning", "note", "never"]),
    default="error",
    show_default=True,
    help="The least level of a finding that gives exit status 1.",
)
def check(
    paths: tuple[Path, ...],
    folders: tuple[Path, ...],
    form: str,
    target: Path | None,
    highlights: Path | None,
    fail_on: str,
    **words: str | None,
) -> int:
    """Check part files, and the part files in folders, against the rules of their process.

    Exit status: 0 nothing at or above the level of --fail-on; 1 findings; 2 bad usage or a file that
    cannot be read; 3 a check that could not be finished.
    """
    choices = _choices(words)
    _writable(target, highlights)
    found = list(find_files(paths))
    if not found:
        named = ", ".join(str(x) for x in paths)
        raise click.UsageError(f"there are no part files in {named}")
    jobs = _jobs(found, choices, highlights, picture=form == "html")
    reports, pictures, troubles = _run(jobs, folders)
    report = Report(tuple(reports), made_by=__version__)
    try:
        output.write_report(report, form, target, fail_on=fail_on, rule_folders=folders, pictures=pictures)
    except BrokenPipeError:
        raise
    except OSError as error:
        troubles.append(f"{target}: {error.strerror or error}")
    for trouble in troubles:
        click.echo(f"could not write {trouble}", err=True)
    return max(exit_status(report, fail_on), UNFINISHED if troubles else NOTHING)


def exit_status(report: Report, fail_on: str) -> int:
    """Return the status that a report ends the command with: the worst of its files."""
    from lintsvc.reports.words import at_or_above

    status = NOTHING
    for part in report.parts:
        if any(x.failed for x in part.not_checked):
            status = max(status, UNFINISHED)
        if part.unreadable is not None:
            status = max(status, UNREADABLE)
        if any(at_or_above(x.level, fail_on) and not x.set_aside for x in part.findings):
            status = max(status, FINDINGS)
    return status


def _choices(words: dict[str, str | None]) -> Choices:
    from lintsvc.handbook.materials import material
    from lintsvc.model.choices_words import BadChoice, choices_from_words

    try:
        choices = choices_from_words({key: word for key, word in words.items() if word is not None})
    except BadChoice as error:
        raise click.BadParameter(str(error), param_hint=f"--{error.name.replace('_', '-')}") from None
    if choices.material is not None:
        try:
            material(choices.material)
        except ValueError as error:
            raise click.BadParameter(str(error), param_hint="--material") from None
    return choices


def _writable(target: Path | None, highlights: Path | None) -> None:
    """Say now what would only be noticed after all the checking."""
    if target is not None and (target.is_dir() or not target.absolute().parent.is_dir()):
        raise click.BadParameter(f"{target} is a folder, or in a folder that is not there", param_hint="--output")
    if highlights is not None:
        try:
            highlights.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise click.BadParameter(f"{highlights}: {error.strerror or error}", param_hint="--highlights") from None


def _jobs(found: Sequence[Found], choices: Choices, highlights: Path | None, *, picture: bool) -> list[Job]:
    from lintsvc.reports.highlights import safe_stem

    taken: set[str] = set()
    return [
        Job(
            number,
            file.path,
            file.name,
            choices,
            highlights=None if highlights is None else (highlights.absolute(), safe_stem(file.name, taken)),
            picture=picture,
        )
        for number, file in enumerate(found)
    ]


def _run(jobs: Sequence[Job], folders: Sequence[Path]) -> tuple[list[PartReport], dict[int, str], list[str]]:
    """Return the entries in the order of the jobs, pictures by number, and what could not be written."""
    reports: dict[int, PartReport] = {}
    pictures: dict[int, str] = {}
    troubles: list[str] = []
    with ExitStack() as stack:
        show = stack.enter_context(_Progress(jobs))
        for message in crew.run(jobs, folders, _bounds()):
            show(message)
            match message:
                case Done(number, report, picture, trouble):
                    reports[number] = report
                    if picture is not None:
                        pictures[number] = picture
                    if trouble:
                        troubles.append(trouble)
                case Lost(number, step, why):
                    reports[number] = _lost(jobs[number], step, why)
                case Refused(why):
                    raise click.UsageError(why)
    return [reports[job.number] for job in jobs], pictures, troubles


def _bounds() -> crew.Bounds:
    from lintsvc.settings import BadSetting, Settings

    try:
        settings = Settings.from_environment()
    except BadSetting as error:
        raise click.UsageError(str(error)) from None
    return crew.Bounds(settings.file_seconds, settings.step_seconds, settings.memory_mib)


_DOING = {"": "Checking", "read": "Reading", "measure": "Measuring"}


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


class _Progress:
    """One line on standard error while files are checked, where that is a terminal; nothing elsewhere."""

    def __init__(self, jobs: Sequence[Job]) -> None:
        self.jobs = jobs
        self.done = 0
        self.shown = sys.stderr.isatty()

    def __enter__(self) -> _Progress:
        return self

    def __exit__(self, *_: object) -> None:
        if self.shown:
            click.echo("\r\x1b[K", err=True, nl=False)

    def __call__(self, message: Message) -> None:
        if not self.shown:
            return
        self.done += isinstance(message, Done | Lost)
        if isinstance(message, Step):
            from lintsvc.reports.words import clean

            name = clean(self.jobs[message.number].name)
            line = f"{self.done + 1} of {len(self.jobs)}  {name}  {message.step} {message.percent:.0f} %"
            click.echo("\r" + line[:100] + "\x1b[K", err=True, nl=False)
