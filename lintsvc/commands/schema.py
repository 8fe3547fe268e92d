"""`lintsvc schema`."""

from __future__ import annotations

import json

import click


@click.command()
@click.argument("what", type=click.Choice(["report", "order"]), default="report")
def schema(what: str) -> None:
    """Print the JSON Schema (2020-12) of the JSON report, or of an order file."""
    if what == "order":
        from lintsvc.order.file import schema as order_schema

        click.echo(json.dumps(order_schema(), indent=2))
        return
    from lintsvc.reports.json_report import schema as report_schema

    click.echo(json.dumps(report_schema(), indent=2))
