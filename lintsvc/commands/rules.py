"""`lintsvc rules` and `lintsvc explain`."""

from __future__ import annotations

import difflib
from pathlib import Path

import click

from lintsvc.commands.packs import packs_or_fail, rules_option


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
def rules(folders: tuple[Path, ...], form: str) -> None:
    """List the rules: id, level, process and what is wrong."""
    from lintsvc.reports.rule_pages import rules_json, rules_table
    from lintsvc.reports.tables import markdown_table, text_table

    packs = packs_or_fail(folders)
    if form == "json":
        click.echo(rules_json(packs))
    elif form == "markdown":
        click.echo(markdown_table(rules_table(packs)))
    else:
        click.echo("\n".join(text_table(rules_table(packs))))


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
