"""`lintsvc packet` and `lintsvc print`."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lintsvc.commands.check import NOTHING, UNFINISHED, UNREADABLE, exit_status
from lintsvc.commands.jobs import Job
from lintsvc.commands.options import fail_on_option, set_aside_option
from lintsvc.commands.order import Checked, checked_order
from lintsvc.commands.order_apart import packet_apart
from lintsvc.commands.packs import rules_option
from lintsvc.commands.plan import choices_of
from lintsvc.commands.run import run_jobs

if TYPE_CHECKING:
    from lintsvc.model.report import Report
    from lintsvc.order.checked import CheckedOrder

paper_option = click.option(
    "--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of what is printed."
)


class _Offset(click.ParamType[float]):
    """A length that may be below zero: 0.5mm, -0.02in."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from lintsvc.model.choices_words import BadChoice, read_length_mm

        if isinstance(value, float):
            return value
        text = str(value).strip()
        sign = -1.0 if text.startswith("-") else 1.0
        if re.fullmatch(r"[+-]?0*\.?0+\s*[a-z]*", text):
            return 0.0
        try:
            return sign * read_length_mm(text.lstrip("+-"))
        except BadChoice as error:
            self.fail(str(error), param, ctx)


offset_option = click.option(
    "--offset",
    "offset_mm",
    type=_Offset(),
    default="0mm",
    metavar="LENGTH",
    help="Move the outline of 1:1 prints outwards, or inwards with a minus: 0.5mm, -0.02in.",
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="ORDER")
@click.option(
    "--output", "target", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="ORDER.packet.zip."
)
@rules_option
@paper_option
@offset_option
@fail_on_option
@set_aside_option
def packet(
    file: Path,
    target: Path | None,
    folders: tuple[Path, ...],
    paper: Any,
    offset_mm: float,
    fail_on: str | None,
    set_aside: Path | None,
) -> int:
    """Make the packet of an order: what goes to the shops, as one zip.

    For each part its file, a page (PDF and HTML), plain-text notes, an inspection sheet, and for flats without
    bends a 1:1 print; for the order a page with calendar, spares and prices. The same order gives the same
    bytes. The packet is made whatever was found, and says it; exit status as of `lintsvc check`.
    """
    from lintsvc.packet.write import PacketError, packet_files, zipped

    done = checked_order(file, folders, drawn=True, set_aside=set_aside)
    report = done.report()
    target = target or Path(f"{file.stem}.packet.zip")
    try:
        order = decided(done, report)
        files = packet_apart(
            lambda: packet_files(order, done.drawn, entry=report.order, paper=paper, offset_mm=offset_mm)
        )
        target.write_bytes(zipped(files))
    except PacketError as error:
        click.echo(str(error), err=True)
        return UNFINISHED
    except OSError as error:
        click.echo(f"could not write {target}: {error.strerror or error}", err=True)
        return UNFINISHED
    from lintsvc.reports.words import counted, plural

    click.echo(f"{target}: {plural(len(files), 'file')}")
    for part in report.entries:
        click.echo(f"  {part.file}: {'unreadable' if part.unreadable else counted(part.findings)}")
    for trouble in done.troubles:
        click.echo(trouble, err=True)
    return max(exit_status(report, fail_on or done.fail_on), UNFINISHED if done.troubles else NOTHING)


def decided(done: Checked, report: Report) -> CheckedOrder:
    """Return the order with what was set aside told as such in its parts' reports."""
    parts = tuple(replace(x, report=y) for x, y in zip(done.order.parts, report.parts, strict=True))
    return replace(done.order, parts=parts)


@click.command("print")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--output", "target", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="FILE.1to1.pdf."
)
@paper_option
@offset_option
@click.option("--template", is_flag=True, help="With a cross at the middle of each round hole: for drilling.")
@click.option("--units", metavar="UNIT", help="The unit that was meant, where the file is wrong or silent: mm, in …")
def print_outline(
    file: Path, target: Path | None, paper: Any, offset_mm: float, template: bool, units: str | None
) -> int:
    """Print an outline 1:1 as PDF: gaskets and pads to cut by hand, drilling templates.

    Tiled over as many pages as it takes, with marks to line them up by and a bar of 100 mm (4 in on Letter) in
    both directions on each: measure the bars before you cut. Exit status: 0 made; 2 the file has no outline.
    """
    from lintsvc.packet.prints import outline_print

    choices = choices_of({"process": "sheet", **({"units": units} if units else {})})
    ran = run_jobs([Job(0, file, str(file), choices, drawn=True, rules=False)], (), cache=False)
    report = ran.parts[0]
    target = target or Path(f"{file.stem}.1to1.pdf")
    try:
        if report.unreadable is not None:
            raise ValueError(f"{report.unreadable.why} {report.unreadable.remedy}".strip())
        if 0 not in ran.drawn:
            raise ValueError("; ".join(ran.troubles) or "it could not be drawn")
        data = outline_print(ran.drawn[0], file.name, paper, offset_mm, template=template)
    except ValueError as error:
        click.echo(f"{file}: not printed: {error}", err=True)
        return UNREADABLE
    try:
        target.write_bytes(data)
    except OSError as error:
        click.echo(f"could not write {target}: {error.strerror or error}", err=True)
        return UNFINISHED
    unit = report.part.units if report.part else None
    click.echo(f"{target}: 1:1 on {paper}" + (f"; read in {unit.value}: {unit.why.rstrip('.')}" if unit else ""))
    return NOTHING
