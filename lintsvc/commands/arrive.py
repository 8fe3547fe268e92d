"""`lintsvc arrive`."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lintsvc.commands.check import FINDINGS, NOTHING, UNFINISHED, UNREADABLE
from lintsvc.commands.order import Checked, checked_order
from lintsvc.commands.packet import paper_option

if TYPE_CHECKING:
    from lintsvc.packet.arrival import Arrival


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="ORDER")
@click.argument("results", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--sheets",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write the inspection sheets (inspection.pdf) and the table to fill in (results.csv) there.",
)
@click.option(
    "--shop",
    "shop_path",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Add what the parts came out at to this shop.toml; the one that the order names when left out.",
)
@click.option("--learn/--no-learn", default=True, help="Whether anything is added to a shop.toml. The default is yes.")
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True, help="How it is told."
)
@paper_option
def arrive(
    file: Path, results: Path | None, sheets: Path | None, shop_path: Path | None, learn: bool, form: str, paper: Any
) -> int:
    """Inspect what arrived of an order: accept, rework or reject each piece by its limits.

    A value out of any sensible range (a comma in the wrong place, inches for millimetres) is asked about; measured
    again and so, write it with a mark: 5.5!

    RESULTS is the filled-in table that --sheets writes: columns part, piece, size, measured. What holes, bends
    and lengths came out at goes into a shop.toml, which the next check of an order uses and names.

    Exit status: 0 all accepted; 1 some to rework, reject or measure again; 2 a table or file that cannot be read.
    """
    if results is None and sheets is None:
        raise click.UsageError("name the filled-in table of results, or write one with --sheets DIR")
    done = checked_order(file, drawn=True)
    if sheets is not None and (status := _write_sheets(done, sheets, paper)):
        return status
    if results is None:
        return NOTHING
    from lintsvc.packet.arrival import ResultsError, arrival_data, judge, read_results
    from lintsvc.packet.inspection import sizes_of

    sizes = {x.id: sizes_of(done.order, x, done.drawn[x.id]) for x in done.order.parts if x.id in done.drawn}
    try:
        data = results.read_bytes()
        arrival = judge(done.order.parts, sizes, read_results(data.decode("utf-8-sig"), sizes, str(results)))
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "is no text in UTF-8; save it as CSV in UTF-8"
        click.echo(f"{results}: {why}", err=True)
        return UNREADABLE
    except ResultsError as error:
        click.echo(str(error), err=True)
        return UNREADABLE
    status = FINDINGS if any(x.verdict != "accept" for x in arrival.pieces) else NOTHING
    lines = _learn(done, arrival, results, data, shop_path) if learn else []
    if form == "json":
        click.echo(json.dumps({**arrival_data(arrival), "learnt": lines}, indent=2, ensure_ascii=False))
    else:
        for line in arrival_lines(arrival):
            click.echo(line)
        for line in lines:
            click.echo(line)
    return status


def _write_sheets(done: Checked, folder: Path, paper: Any) -> int:
    from lintsvc.packet.write import inspection_sheets, results_table

    if not done.drawn:
        click.echo("none of the parts could be drawn; check the order first", err=True)
        return UNREADABLE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in (
            ("inspection.pdf", inspection_sheets(done.order, done.drawn, paper)),
            ("results.csv", results_table(done.order, done.drawn)),
        ):
            if name.endswith(".csv") and (folder / name).exists():
                click.echo(f"{folder / name}: is there already and may be filled in; left as it is", err=True)
                continue
            (folder / name).write_bytes(data)
            click.echo(str(folder / name))
    except OSError as error:
        click.echo(f"could not write into {folder}: {error.strerror or error}", err=True)
        return UNFINISHED
    return NOTHING


def arrival_lines(arrival: Arrival) -> list[str]:
    """Return what became of each piece, in words."""
    from lintsvc.reports.words import clean, plural

    lines = []
    for piece in arrival.pieces:
        counted = plural(len(piece.sizes), "size") + " measured"
        counted += f", {len(piece.missing)} not" if piece.missing else ""
        lines.append(f"{piece.verdict.upper():<7} {clean(piece.part)}, piece {clean(piece.piece)}: {counted}")
        lines += [f"        {x.verdict}: {clean(x.text)}" for x in piece.sizes if x.verdict != "accept"]
    if not arrival.pieces:
        lines.append("nothing is measured: fill in the column 'measured'")
    return lines + [f"left out of what is learnt: {clean(x)}" for x in arrival.left_out]


def _learn(done: Checked, arrival: Arrival, results: Path, data: bytes, shop_path: Path | None) -> list[str]:
    """Add the figures to the shop.toml; return what was said about it."""
    from lintsvc.packet.shop_file import CountedBefore, changes, with_arrival
    from lintsvc.rulebook.shop import ShopError, parse_shop

    named = done.order.order.order.shop
    path = shop_path or (None if named is None else done.order.path.parent / named)
    if path is None:
        hint = 'name one with --shop, or in the order: [order] shop = "shop.toml"'
        return [f"nothing is kept of what the parts came out at: {hint}"] if arrival.learnt else []
    try:
        before = path.read_text("utf-8") if path.exists() else ""
        after = with_arrival(before, arrival, results.name, hashlib.sha256(data).hexdigest(), path.name)
        path.write_text(after, "utf-8", newline="\n")
    except CountedBefore as error:
        return [str(error)]
    except ShopError as error:
        raise click.UsageError(str(error)) from None
    except (OSError, UnicodeDecodeError) as error:
        raise click.UsageError(f"{path}: {getattr(error, 'strerror', None) or error}") from None
    said = changes(parse_shop(before, path.name), parse_shop(after, path.name))
    return [f"{path}: {len(arrival.learnt)} figures", *(f"  {x}" for x in said)]
