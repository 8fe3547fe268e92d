"""`lintsvc compare`."""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import tarfile
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from lintsvc.commands.plan import make_plan
from lintsvc.commands.run import run_jobs
from lintsvc.model.report import Report


@click.command()
@click.argument("old")
@click.argument("new")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "markdown"]),
    default="text",
    show_default=True,
    help="How the comparison is written.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["error", "warning", "note", "never"]),
    default="error",
    show_default=True,
    help="The least level of a new finding that gives exit status 1.",
)
def compare(old: str, new: str, form: str, fail_on: str) -> int:
    """Say what changed from OLD to NEW: findings gone and new, size, volume, mass, holes, bends.

    Each is a JSON report, a part file, a folder, or a commit of the git repository around the working
    folder. Exit status 1 when NEW has findings that OLD has not.
    """
    from lintsvc.reports import comparing
    from lintsvc.reports.words import at_or_above

    parts = comparing.compare(_report(old), _report(new))
    if form == "json":
        click.echo(json.dumps(comparing.to_dict(parts), indent=2, allow_nan=False))
    else:
        click.echo(comparing.markdown(parts) if form == "markdown" else comparing.text(parts), nl=False)
    worse = any(at_or_above(x.level, fail_on) and not x.set_aside for part in parts for x in part.added)
    return 1 if worse else 0


def _report(named: str) -> Report:
    path = Path(named)
    if path.is_dir():
        return _checked(path, Path())
    if path.is_file():
        return _read(path) if path.suffix.lower() == ".json" else _checked(path.parent, Path(path.name))
    with _commit(named) as folder:
        return _checked(folder, Path())


def _read(path: Path) -> Report:
    from lintsvc.reports.json_report import from_dict

    try:
        return from_dict(json.loads(path.read_text("utf-8")))
    except (OSError, ValueError) as error:
        raise click.UsageError(f"{path} is no JSON report of lintsvc ({type(error).__name__})") from None


def _checked(folder: Path, inside: Path) -> Report:
    """Check what lies in a folder; files are named from it, so that two folders compare."""
    here = Path.cwd()
    with contextlib.chdir(folder):
        # A lintsvc.toml of the working folder holds for folders in it.
        working = here if Path.cwd().is_relative_to(here) else None
        plan = make_plan([inside], {}, (), working=working)
        jobs = [replace(x, path=x.path.absolute()) for x in plan.jobs]
        rules = [x.absolute() for x in plan.rule_folders]
        return Report(tuple(run_jobs(jobs, rules).parts))


@contextlib.contextmanager
def _commit(named: str) -> Iterator[Path]:
    """Unpack a commit into a folder for a while."""
    if named.startswith("-"):
        raise click.UsageError(f"{named!r} is no report, file, folder or commit")
    with tempfile.TemporaryDirectory(prefix="lintsvc-") as folder:
        try:
            done = subprocess.run(["git", "archive", "--format=tar", named], capture_output=True, check=False)
        except OSError:
            done = subprocess.CompletedProcess([], 1, b"", b"git is not there")
        if done.returncode:
            reason = done.stderr.decode("utf-8", "replace").strip().removeprefix("fatal: ")
            raise click.UsageError(f"{named!r} is no report, file, folder or commit (git: {reason})")
        with tarfile.open(fileobj=io.BytesIO(done.stdout)) as archive:
            # "data" refuses what would land outside of the folder, and devices.
            archive.extractall(folder, filter="data")
        yield Path(folder)
