"""From the command line and `lintsvc.toml` to the files to check, each with its choices and rules."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from lintsvc.commands.jobs import Job
from lintsvc.commands.paths import Found, find_files
from lintsvc.model.choices import Choices
from lintsvc.project.config import Config, ConfigError
from lintsvc.project.project import Held, Project
from lintsvc.project.set_aside import NAME as SET_ASIDE_NAME
from lintsvc.project.set_aside import SetAside, read_set_aside
from lintsvc.rulebook.packs import pack_folders
from lintsvc.rulebook.rule import RuleError

#: A repository's own rule packs.
LINT_RULES = "lint-rules"


@dataclass
class Plan:
    """What is to be checked, and with what."""

    jobs: list[Job] = field(default_factory=list)
    rule_folders: tuple[Path, ...] = ()
    set_asides: tuple[SetAside, ...] = ()
    fail_on: str = "error"
    #: Part files in the folders that no entry of a lintsvc.toml names.
    uncovered: list[str] = field(default_factory=list)


def make_plan(
    paths: Sequence[Path],
    words: Mapping[str, str],
    folders: Sequence[Path],
    *,
    changed_since: str | None = None,
    set_aside: Path | None = None,
    working: Path | None = None,
) -> Plan:
    """Find the files and what holds for each. `words` (the command's) win over every lintsvc.toml.

    `working`: as far out as a lintsvc.toml is looked for outside of a repository; the working folder when not given.

    Raises UsageError for what is wrong in a lintsvc.toml, a set-aside file or a choice.
    """
    project = Project(working or Path.cwd())
    plan = Plan()
    try:
        only = _changed(changed_since, paths)
        found = list(find_files(paths))
        configs: dict[Path, Config] = {}
        for file in found:
            held = project.held(file.path)
            configs |= {x.path: x for x in project.configs(file.path.parent)}
            if only is not None and str(file.path.resolve()) not in only:
                continue
            if not file.named and (held.excluded or (held.mapped and not held.covered)):
                plan.uncovered += [] if held.excluded else [file.name]
                continue
            plan.jobs.append(_job(len(plan.jobs), file, held, words))
        here = project.configs(Path.cwd())
        configs |= {x.path: x for x in here}
        plan.fail_on = next((x.fail_on for x in reversed(here) if x.fail_on), "error")
        plan.rule_folders = rule_folders_of(folders, configs.values())
        plan.set_asides = tuple(set_asides_of(set_aside, configs.values()))
    except ConfigError as error:
        raise click.UsageError(str(error)) from None
    if not found:
        named = ", ".join(str(x) for x in paths)
        raise click.UsageError(f"there are no part files in {named}")
    return plan


def choices_of(words: Mapping[str, str]) -> Choices:
    """Return the choices that words say. Raises BadParameter naming the option and the valid words."""
    from lintsvc.handbook.gauges import with_gauge
    from lintsvc.handbook.materials import material
    from lintsvc.model.choices_words import BadChoice, choices_from_words

    try:
        choices = choices_from_words(words)
    except BadChoice as error:
        raise click.BadParameter(str(error), param_hint=f"--{error.name.replace('_', '-')}") from None
    if choices.material is not None:
        try:
            material(choices.material)
        except ValueError as error:
            raise click.BadParameter(str(error), param_hint="--material") from None
    try:
        return with_gauge(choices)
    except BadChoice as error:
        raise click.BadParameter(str(error), param_hint="--thickness") from None


def _job(number: int, file: Found, held: Held, words: Mapping[str, str]) -> Job:
    choices = choices_of({**dict(held.words), **words})
    return Job(number, file.path, file.name, choices, adjustments=held.adjustments)


def _changed(reference: str | None, paths: Sequence[Path]) -> set[str] | None:
    if reference is None:
        return None
    from lintsvc.project.changed import changed_since, repository_of

    return changed_since(reference, repository_of(paths))


def rule_folders_of(named: Sequence[Path], configs: Collection[Config]) -> tuple[Path, ...]:
    """Return the folders of further packs: as named, by each lintsvc.toml, and `lint-rules` beside one."""
    folders = list(named)
    beside = [Path.cwd()]
    for config in configs:
        folders += config.packs
        beside.append(config.folder)
    folders += [x / LINT_RULES for x in beside if (x / LINT_RULES).is_dir()]
    once = tuple({x.resolve(): _from_here(x) for x in folders}.values())
    try:
        for folder in once:
            list(pack_folders(folder))
    except RuleError as error:
        raise click.UsageError(str(error)) from None
    return once


def _from_here(path: Path) -> Path:
    """Return a path as seen from the working folder, where it is in it: reports must not tell where on a machine."""
    here = Path.cwd()
    return path.absolute().relative_to(here) if path.absolute().is_relative_to(here) else path


def set_asides_of(named: Path | None, configs: Collection[Config]) -> list[SetAside]:
    """Return the set-aside files that hold: as named, by each lintsvc.toml, and the one in the working folder."""
    today = datetime.datetime.now(datetime.UTC).date()
    paths = [] if named is None else [named]
    for config in configs:
        beside = config.folder / SET_ASIDE_NAME
        paths += [config.set_aside] if config.set_aside else [beside] if beside.is_file() else []
    if (here := Path.cwd() / SET_ASIDE_NAME).is_file():
        paths.append(here)
    return [read_set_aside(x, today) for x in {x.resolve(): x for x in paths}.values()]
