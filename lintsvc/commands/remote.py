"""`lintsvc check --server`: the jobs of a check, done by a service. Only what it does not have is uploaded."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lintsvc.commands.jobs import Job
from lintsvc.commands.run import Progress, Ran, run_jobs
from lintsvc.model.finding import NotChecked
from lintsvc.model.report import PartReport

if TYPE_CHECKING:
    from lintsvc.client import Check, Client
    from lintsvc.reports.picture import Svgs
    from lintsvc.rulebook.adjust import Adjustments

#: The variable that holds the token. Never an option: what is on a command line is seen by others and kept in logs.
TOKEN = "LINTSVC_TOKEN"  # noqa: S105 - the name of a variable
#: So many files are under way at once.
AT_ONCE = 4


@dataclass(frozen=True)
class Packs:
    """What the packs named here mean to a service that has packs of its own."""

    #: What they change of rules that the service has.
    changes: Adjustments
    #: Their rules that the service does not have.
    missing: tuple[str, ...]


def run_remote(jobs: Sequence[Job], rule_folders: Sequence[Path], server: str) -> Ran:
    """Check the files at a service. Raises UsageError for what is wrong with the address, the token or a choice."""
    from lintsvc.client import Away, Client, Refused

    try:
        with Client(server, os.environ.get(TOKEN, "")) as client:
            return _run(jobs, rule_folders, client)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--server") from None
    except Refused as error:
        if error.status == 401:
            raise click.UsageError(f"{server}: {error.detail.rstrip('.')}; {TOKEN} is where it is read from") from None
        raise click.UsageError(f"{server}: {error.detail}") from None
    except (Away, TimeoutError) as error:
        raise Unfinished(f"{server}: {error}") from None


class Unfinished(click.ClickException):
    """The service is away: the check could not be finished."""

    exit_code = 3


def _run(jobs: Sequence[Job], rule_folders: Sequence[Path], client: Client) -> Ran:
    from lintsvc.model.part import Unreadable
    from lintsvc.readers.content import sha256_of

    packs = _packs(rule_folders, client)
    hashes: dict[int, str] = {}
    unreadable: list[Job] = []
    for job in jobs:
        try:
            hashes[job.number] = sha256_of(job.path)
        except Unreadable:
            unreadable.append(job)
    known = client.known_files(sorted(set(hashes.values()))) if hashes else frozenset()
    left = [x for x in jobs if x.number in hashes]
    # What cannot even be opened is told as without a service.
    ran = run_jobs([replace(x, number=n) for n, x in enumerate(unreadable)], rule_folders, cache=False)
    parts = {job.number: part for job, part in zip(unreadable, ran.parts, strict=True)}
    with ThreadPoolExecutor(AT_ONCE) as pool, Progress(len(jobs), len(parts), {x.number: x.name for x in jobs}) as show:

        def done(job: Job) -> tuple[Job, PartReport, Svgs | None, str]:
            return job, *_one(client, job, packs, hashes[job.number], known)

        for job, part, pictures, trouble in pool.map(done, left):
            show.done_with(job.number)
            parts[job.number] = part
            if pictures is not None:
                ran.pictures[job.number] = pictures
            ran.troubles += [trouble] if trouble else []
    ran.parts = [parts[x.number] for x in jobs]
    return ran


def _one(
    client: Client, job: Job, packs: Packs, sha256: str, known: frozenset[str]
) -> tuple[PartReport, Svgs | None, str]:
    """Return one file's entry, its pictures where one is wanted, and what could not be written."""
    check = _checked(client, job, packs, sha256, again=sha256 in known)
    assert check.report is not None  # the check has ended and was not cancelled: `_checked` looked
    (part,) = check.report.parts
    missing = tuple(NotChecked(x, "the service does not have this rule") for x in packs.missing)
    part = replace(part, file=job.name, not_checked=(*part.not_checked, *missing))
    pictures, trouble = None, ""
    if part.part is not None:
        if job.picture:
            pictures = _pictures(client, check.id, close_ups=job.close_ups)
        if job.highlights is not None:
            trouble = _write_highlights(client, check.id, *job.highlights)
    return part, pictures, trouble


def _pictures(client: Client, check_id: str, *, close_ups: bool) -> Svgs:
    """Return the file's picture, and where they are wanted those near to findings."""
    from lintsvc.reports.picture import Svgs

    if not close_ups:
        return Svgs(client.of_file(check_id, "picture.svg").decode("utf-8"))
    drawn = json.loads(client.of_file(check_id, "pictures.json"))
    return Svgs(drawn["whole"], {int(number): svg for number, svg in drawn["close"].items()})


def _checked(client: Client, job: Job, packs: Packs, sha256: str, *, again: bool) -> Check:
    from lintsvc.client import Away, Refused
    from lintsvc.rulebook.adjust import changes_to_dict

    changes: dict[str, Any] = changes_to_dict(packs.changes.then(_held(job.adjustments, packs)))
    changes = changes if any(changes.values()) else {}
    check: Check | None = None
    if again:
        try:
            check = client.check([], job.choices, known=[(job.path.name, sha256)], changes=changes)
        except Refused as error:
            if error.kind != "not-found":
                raise
            # It was deleted a moment ago.
    if check is None:
        check = client.check([job.path], job.choices, changes=changes)
    if check.report is None:
        raise Away(f"the check of {job.name} was {check.state} by somebody else")
    return check


def _held(changes: Adjustments, packs: Packs) -> Adjustments:
    """Leave out changes of rules that the service does not have: they are told as not checked."""
    missing = frozenset(packs.missing)
    return replace(changes, limits=tuple(x for x in changes.limits if x.rule not in missing),
                   levels=tuple(x for x in changes.levels if x.rule not in missing))  # fmt: skip


def _packs(rule_folders: Sequence[Path], client: Client) -> Packs:
    from lintsvc.rulebook.adjust import NO_ADJUSTMENTS

    known = frozenset(x["id"] for x in client.rules()["rules"])
    if not rule_folders:
        return Packs(NO_ADJUSTMENTS, ())
    from lintsvc.commands.packs import packs_or_fail
    from lintsvc.rulebook.packs import changes_of

    folders = [x.resolve() for x in rule_folders]
    packs = [x for x in packs_or_fail(rule_folders) if any(x.folder.resolve().is_relative_to(y) for y in folders)]
    missing = tuple(x.id for pack in packs for x in pack.rules if x.id not in known)
    found = Packs(NO_ADJUSTMENTS, missing)
    return replace(found, changes=_held(changes_of(packs), found))


def _write_highlights(client: Client, check_id: str, folder: Path, stem: str) -> str:
    from lintsvc.client import Refused

    for kind in ("glb", "svg", "dxf"):
        path = folder / f"{stem}.highlights.{kind}"
        try:
            path.write_bytes(client.made(check_id, path.name.removeprefix(f"{stem}.")))
        except Refused as error:
            if error.kind != "not-made":
                return f"{path}: {error.detail}"
        except OSError as error:
            return f"{path}: {error.strerror or error}"
    return ""
