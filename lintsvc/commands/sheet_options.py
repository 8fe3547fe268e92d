"""Options about a flat's lines and holes, each of which may be given several times."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS = (
    (
        "--lines",
        "lines",
        "KIND:NAME=WHAT",
        "What lines are for: layer:FOLD=bend up, line-type:DASHED=bend down 90 R2mm, colour:red=engrave, "
        "layer:HOLES=thread M4; also cut and note.",
    ),
    ("--bend", "bends", "TEXT", 'What a bend is, by a point on or beside its line: "at 10,20 up 90 R2mm".'),
    ("--thread", "threads", "TEXT", 'A hole to be tapped: "M4 at 10,20".'),
    ("--countersink", "countersinks", "TEXT", 'A hole to be countersunk: "M4 at 10,20 down".'),
)


def sheet_options(command: Command) -> Command:
    """Add the options. Each is handed over as one text with `;` between its entries, None where it is not given."""
    for name, key, metavar, text in reversed(_OPTIONS):
        again = f"{text} May be given more than once."
        command = click.option(name, key, multiple=True, callback=_joined, metavar=metavar, help=again)(command)
    return command


def _joined(context: click.Context, parameter: click.Parameter, given: tuple[str, ...]) -> str | None:
    return "; ".join(given) or None
