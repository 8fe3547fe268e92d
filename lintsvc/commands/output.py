"""From a report to what the command prints or writes."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc.model.report import Report

if TYPE_CHECKING:
    from lintsvc.reports.picture import Svgs

FORMATS = ("text", "json", "sarif", "junit", "html", "markdown")

_LOOKS: Mapping[str, Mapping[str, object]] = {
    "title": {"bold": True},
    "error": {"fg": "red", "bold": True},
    "warning": {"fg": "yellow", "bold": True},
    "note": {"fg": "blue", "bold": True},
    "good": {"fg": "green"},
    "quiet": {"dim": True},
}


def write_report(
    report: Report,
    form: str,
    output: Path | None,
    *,
    fail_on: str,
    rule_folders: Sequence[Path],
    pictures: Mapping[int, Svgs],
    paths: Mapping[int, str],
) -> None:
    """Print the report, or write it to `output`. Raises OSError where it cannot be written."""
    if form == "text" and output is None:
        click.echo(_for_terminal(report), nl=False)
        return
    text = rendered(report, form, fail_on=fail_on, rule_folders=rule_folders, pictures=pictures, paths=paths)
    if output is None:
        click.echo(text, nl=not text.endswith("\n"))
    else:
        output.write_text(text if text.endswith("\n") else text + "\n", "utf-8", newline="\n")


def rendered(
    report: Report,
    form: str,
    *,
    fail_on: str,
    rule_folders: Sequence[Path],
    pictures: Mapping[int, Svgs],
    paths: Mapping[int, str],
) -> str:
    """Return the report in one of FORMATS; `paths` of pictures are for Markdown."""
    # Imported by need: a JSON report should not wait for the others' libraries.
    if form == "json":
        from lintsvc.reports import json_report

        return json_report.dumps(report)
    if form == "junit":
        from lintsvc.reports import junit

        return junit.dumps(report, fail_on=fail_on)
    if form == "text":
        from lintsvc.reports import text

        return text.dumps(report)
    if form == "markdown":
        from lintsvc.reports import markdown

        return markdown.dumps(report, pictures=paths)
    from lintsvc.commands.packs import packs_or_fail

    rules = [rule for pack in packs_or_fail(rule_folders) for rule in pack.rules]
    if form == "sarif":
        from lintsvc.reports import sarif

        return sarif.dumps(report, rules)
    from lintsvc.reports import html

    return html.dumps(report, rules=rules, pictures=pictures)


def _for_terminal(report: Report) -> str:
    from lintsvc.reports import text

    if not sys.stdout.isatty():
        return text.dumps(report)
    width = max(50, min(110, shutil.get_terminal_size().columns))
    if os.environ.get("NO_COLOR"):
        return text.dumps(report, width=width)
    return text.dumps(report, width=width, paint=_paint)


def _paint(text: str, style: str) -> str:
    return click.style(text, **_LOOKS.get(style, {}))  # type: ignore[arg-type]
