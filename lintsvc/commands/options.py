"""Options that several commands have, said once."""

from __future__ import annotations

from pathlib import Path

import click

from lintsvc.commands.output import FORMATS

format_option = click.option(
    "--format",
    "form",
    type=click.Choice(FORMATS),
    default="text",
    show_default=True,
    help="How the report is written.",
)
output_option = click.option(
    "--output", "target", type=click.Path(path_type=Path), metavar="FILE", help="Write the report there."
)
fail_on_option = click.option(
    "--fail-on",
    type=click.Choice(["error", "warning", "note", "never"]),
    help="The least level of a finding that gives exit status 1: error, unless lintsvc.toml says otherwise.",
)
set_aside_option = click.option(
    "--set-aside",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Findings that were decided about; lintsvc-set-aside.toml is found by itself.",
)
cache_option = click.option(
    "--cache/--no-cache", default=True, help="Take results of unchanged files from the cache. The default."
)
