"""`lintsvc rules` and `lintsvc explain`."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc.commands.packs import packs_or_fail, rules_option

if TYPE_CHECKING:
    from lintsvc.rulebook.packs import Pack


@click.command()
@rules_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "markdown", "json"]),
    default="text",
    show_default=True,
    help="How the list is written; JSON has everything that is known of each rule.",
)
@click.option(
    "--effective",
    is_flag=True,
    help="What holds in the working folder, after lintsvc.toml and packs changed it, and from where.",
)
@click.option("--changed", is_flag=True, help="With --effective: only rules that are not as they were built in.")
@click.option("--process", type=click.Choice(["powder-bed", "sheet"]), help="With --effective: for this process.")
@click.option("--material", metavar="ID", help="With --effective: for this material.")
def rules(
    folders: tuple[Path, ...], form: str, effective: bool, changed: bool, process: str | None, material: str | None
) -> None:
    """List the rules: id, level, process and what is wrong."""
    from lintsvc.reports.rule_pages import rules_json, rules_table
    from lintsvc.reports.tables import markdown_table, text_table

    if effective:
        rows = list(_effective(folders, process, material, only_changed=changed))
        click.echo(markdown_table(rows) if form == "markdown" else "\n".join(text_table(rows)))
        return
    packs = packs_or_fail(folders)
    if form == "json":
        click.echo(rules_json(packs))
    elif form == "markdown":
        click.echo(markdown_table(rules_table(packs)))
    else:
        click.echo("\n".join(text_table(rules_table(packs))))


def _effective(
    folders: Sequence[Path], process: str | None, material_id: str | None, *, only_changed: bool = False
) -> Iterator[tuple[str, str, str, str]]:
    """Yield the rows of a table: rule, level, limit, and where it is from."""
    from lintsvc.commands.plan import choices_of, rule_folders_of
    from lintsvc.handbook.materials import material
    from lintsvc.project.config import ConfigError
    from lintsvc.project.project import Project
    from lintsvc.reports.rule_pages import limit_text
    from lintsvc.rulebook.adjust import adjust, check_adjustments
    from lintsvc.rulebook.packs import changes_of
    from lintsvc.rulebook.rule import RuleError

    words = {"process": process or "", "material": material_id or ""}
    choices = choices_of(words)
    try:
        configs = Project(Path.cwd()).configs(Path.cwd())
        packs = packs_or_fail(rule_folders_of(folders, configs))
        known = [rule for pack in packs for rule in pack.rules]
        changes = changes_of(packs)
        for config in configs:
            changes = changes.then(config.adjustments)
        check_adjustments(known, changes)
    except (ConfigError, RuleError) as error:
        raise click.UsageError(str(error)) from None
    held = None if choices.material is None else material(choices.material)
    found = adjust(known, changes, choices.process, held)
    after = {x.id: x for x in found.rules}
    yield ("rule", "level", "limit", "from")
    for rule in known:
        if process is not None and process not in rule.processes:
            continue
        if rule.id in found.off:
            yield (rule.id, "off", "", found.off[rule.id])
            continue
        changed = after[rule.id]
        if only_changed and changed == rule:
            continue
        rows = [x for x in changed.limits if held is None or x.material in ("any", held.id, held.family)]
        level_from = f"; level by {found.levels[rule.id]}" if rule.id in found.levels else ""
        yield (rule.id, changed.level, "", _file(rule.path, packs) + level_from)
        for row in rows:
            name = "" if row.name == "limit" else f"{row.name} "
            source = f"{row.source.kind}: {row.source.text}"
            place = found.limits.get((rule.id, row.name), "")
            # A shop that names no source is told by the place already.
            source += f" ({place})" if place and place not in source else ""
            yield ("", "", f"{name}{row.material} {limit_text(row)}", source)


def _file(path: str, packs: Sequence[Pack]) -> str:
    """Return a rule's file from its pack's folder: built-in ones lie anywhere."""
    for pack in packs:
        if Path(path).is_relative_to(pack.folder):
            return f"{pack.name}/{Path(path).name}"
    return path


@click.command()
@click.argument("rule")
@rules_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "markdown"]),
    default="text",
    show_default=True,
    help="How the page is written.",
)
def explain(rule: str, folders: tuple[Path, ...], form: str) -> None:
    """Say everything about RULE: why, how it is measured, limits with their sources, the remedy.

    RULE is an id as reports show it, or its last part where that is enough: thin-wall.
    """
    from lintsvc.reports.rule_pages import markdown, plain_text

    known = {x.id: x for pack in packs_or_fail(folders) for x in pack.rules}
    found = [known[rule]] if rule in known else [x for x in known.values() if x.id.split("/")[1] == rule]
    if len(found) != 1:
        close = [x.id for x in found] or difflib.get_close_matches(rule, known, n=4, cutoff=0.5)
        meant = f"close ones are {', '.join(close)}" if close else "`lintsvc rules` lists them"
        raise click.UsageError(f"there is no rule {rule!r}; {meant}")
    click.echo(markdown(found[0]) if form == "markdown" else plain_text(found[0]), nl=False)
