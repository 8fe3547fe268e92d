"""`lintsvc test-rules`."""

from __future__ import annotations

from pathlib import Path

import click

from lintsvc.commands.packs import packs_or_fail


@click.command("test-rules")
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="DIR...")
def test_rules(folders: tuple[Path, ...]) -> int:
    """Hold the rules of the packs in DIR against their good and bad parts.

    Each rule needs a part of each kind, just either side of its limit, in fixtures/NAME/ beside it. Exit
    status: 0 all well; 1 something is not as it should be; 2 a rule file that cannot be loaded.
    """
    from lintsvc.order.load import report_of
    from lintsvc.rulebook.fixtures import problems_of, uncovered

    inside = [x.resolve() for x in folders]
    packs = [x for x in packs_or_fail(folders) if any(x.folder.resolve().is_relative_to(y) for y in inside)]
    wrong = 0
    for rule in (x for pack in packs for x in pack.rules):
        problems = list(problems_of(rule, report_of))
        wrong += bool(problems)
        click.echo(f"{'wrong' if problems else 'well ':<5} {rule.id}")
        for problem in problems:
            click.echo(f"      {problem}")
        if not problems and (missing := uncovered(rule)):
            click.echo(f"      no part tries the limits for {', '.join(missing)}")
    count = sum(len(x.rules) for x in packs)
    click.echo(f"{count} {'rule' if count == 1 else 'rules'}, {wrong} not as they should be")
    return 1 if wrong else 0
