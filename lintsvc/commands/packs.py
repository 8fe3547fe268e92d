"""Loading rule packs for a command; what is wrong in a rule file is a usage error."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from lintsvc.rulebook.packs import Pack

rules_option = click.option(
    "--rules",
    "folders",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="A folder of further rule packs. May be given more than once.",
)


def packs_or_fail(folders: Sequence[Path]) -> tuple[Pack, ...]:
    """Return the built-in, installed and given packs. Raises UsageError for what is wrong in one."""
    from lintsvc.rulebook.packs import load_packs
    from lintsvc.rulebook.rule import RuleError

    try:
        return load_packs(folders)
    except RuleError as error:
        raise click.UsageError(str(error)) from None
