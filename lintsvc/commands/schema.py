"""`lintsvc schema`."""

from __future__ import annotations

import json

import click


@click.command()
def schema() -> None:
    """Print the JSON Schema (2020-12) of the JSON report."""
    from lintsvc.reports.json_report import schema as report_schema

    click.echo(json.dumps(report_schema(), indent=2))
