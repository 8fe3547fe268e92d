"""`lintsvc compare-materials`."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import click

from lintsvc.commands.packs import rules_option
from lintsvc.commands.plan import choices_of, rule_folders_of

UNREADABLE = 2


@click.command(name="compare-materials")
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--process", metavar="NAME", help="powder-bed or sheet. Guessed from the file when left out.")
@click.option("--material", metavar="ID", help="The material that the others are held against.")
@click.option("--thickness", metavar="LENGTH", help="The sheet thickness that the others are held against: 2mm.")
@click.option("--units", metavar="UNIT", help="The unit that was meant, where the file is wrong or silent.")
@click.option("--passing", is_flag=True, help="Only rows that pass, and the chosen one.")
@rules_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="How the table is written.",
)
def compare_materials(path: Path, folders: tuple[Path, ...], passing: bool, form: str, **words: str | None) -> int:
    """Hold FILE against every material and thickness that the packs know.

    Says what passes, what fails and by how much, the mass, and the stiffness against the chosen material and
    thickness. Exit status: 0, or 2 for a file that cannot be read.
    """
    from lintsvc.reports import material_table
    from lintsvc.reports.words import clean
    from lintsvc.rulebook.check import check_file
    from lintsvc.rulebook.compare_materials import compare_materials as compare
    from lintsvc.rulebook.packs import changes_of, load_packs
    from lintsvc.rulebook.rule import RuleError

    choices = choices_of({key: value for key, value in words.items() if value})
    try:
        packs = load_packs(rule_folders_of(folders, ()))
    except RuleError as error:
        raise click.UsageError(str(error)) from None
    rules = [x for pack in packs for x in pack.rules]
    changes = changes_of(packs)
    result = check_file(path, choices, rules, adjustments=changes)
    if result.checked is None:
        why = result.report.unreadable
        click.echo(f"{clean(str(path))}: {clean(why.why) if why else 'cannot be read'}", err=True)
        return UNREADABLE
    table = compare(result.checked, rules, adjustments=changes)
    if passing:
        table = replace(table, rows=tuple(x for x in table.rows if x.passes or x.chosen))
    if form == "json":
        click.echo(json.dumps(material_table.to_dict(table), indent=2, allow_nan=False))
    else:
        click.echo(material_table.text(table), nl=False)
    return 0
