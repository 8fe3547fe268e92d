"""`lintsvc set-aside`."""

from __future__ import annotations

import datetime
import subprocess
from pathlib import Path

import click

from lintsvc.commands.plan import make_plan
from lintsvc.commands.run import run_jobs
from lintsvc.project.set_aside import NAME, entry_text


@click.command("set-aside")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("fingerprint")
@click.option("--reason", required=True, metavar="TEXT", help="Why it is right to live with it.")
@click.option("--author", metavar="NAME", help="Who decided; git's user.name when left out.")
@click.option(
    "--until", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="The last day that it holds: 2027-01-31."
)
def set_aside(file: Path, fingerprint: str, reason: str, author: str | None, until: datetime.datetime | None) -> int:
    """Set the finding FINGERPRINT of FILE aside: it is still shown, with the reason, and no longer fails.

    The file is checked once more, as lintsvc.toml says, so that only what is really found can be set aside.
    The decision is added to lintsvc-set-aside.toml in the working folder.
    """
    who = author or _git_user()
    if not who:
        raise click.UsageError("say who decided: --author NAME")
    plan = make_plan([file], {}, ())
    (part,) = run_jobs(plan.jobs, plan.rule_folders).parts
    if part.unreadable is not None:
        raise click.UsageError(f"{file} cannot be read: {part.unreadable.why}")
    found = next((x for x in part.findings if x.fingerprint == fingerprint), None)
    if found is None:
        known = ", ".join(f"{x.fingerprint} ({x.rule})" for x in part.findings[:10]) or "none"
        raise click.UsageError(f"{file} has no finding {fingerprint!r}; it has {known}")
    target = Path(NAME)
    try:
        relative = file.resolve().relative_to(Path.cwd().resolve()).as_posix()
    except ValueError:
        raise click.UsageError(f"{file} lies outside of the working folder; decide in the folder around it") from None
    text = entry_text(fingerprint, _literal(relative), found.rule, reason, who, until.date() if until else None)
    try:
        there = target.read_text("utf-8") if target.exists() else ""
        target.write_text(there + ("\n" if there else "") + text, "utf-8")
    except OSError as error:
        raise click.UsageError(f"{target}: {error.strerror or error}") from None
    click.echo(f"{found.rule} on {relative} is set aside in {target}")
    return 0


def _literal(path: str) -> str:
    """Return a path as a pattern that names nothing else: from the folder of the file, signs of patterns escaped."""
    return "/" + "".join("\\" + x if x in "*?[]\\!#" else x for x in path)


def _git_user() -> str:
    try:
        done = subprocess.run(["git", "config", "user.name"], capture_output=True, text=True, check=False)
    except OSError:
        return ""
    return done.stdout.strip()
