"""`lintsvc fold`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from lintsvc.commands.plan import make_plan
from lintsvc.commands.sheet_options import sheet_options

if TYPE_CHECKING:
    from lintsvc.commands.jobs import Job

REFUSED, UNREADABLE = 1, 2
_ENDINGS = {".glb": "glb", ".step": "step", ".stp": "step", ".json": "json"}


@click.command()
@click.argument("source", metavar="IN", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("target", metavar="OUT", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--material", metavar="ID", help="A material of `lintsvc materials`; its K-factor is taken.")
@click.option("--thickness", metavar="LENGTH", help="Sheet thickness: 2mm, 0.08in, or a gauge of the material: 16ga.")
@click.option("--units", metavar="UNIT", help="The unit that was meant, where the file is wrong or silent: mm, in …")
@click.option("--bend-radius", metavar="LENGTH", help="Inside radius of bends that state none.")
@click.option("--k-factor", metavar="NUMBER", help="The shop's own K-factor.")
@sheet_options
def fold(source: Path, target: Path, **words: str | None) -> int:
    """Fold the flat IN, with its bend lines, and write the body that it becomes to the new file OUT.

    The format follows the ending of OUT: .glb (a mesh), .step (a solid), .json (panels and bends, to be posed
    one by one). What lintsvc.toml says of IN holds, options win over that. Never writes over a file.

    Exit status: 0 folded; 1 it cannot be folded, and why; 2 IN cannot be read or OUT not be written.
    """
    kind = _ENDINGS.get(target.suffix.lower())
    if kind is None:
        raise click.BadParameter(f"{target.name} must end in {', '.join(_ENDINGS)}", param_hint="OUT")
    from lintsvc.model.part import Unreadable
    from lintsvc.reports.words import clean
    from lintsvc.rulebook.rule import CannotCheck

    if target.exists():
        click.echo(f"{clean(str(target))}: is there already; nothing was written.", err=True)
        return REFUSED
    said = {"process": "sheet", **{key: word for key, word in words.items() if word is not None}}
    (job,) = make_plan([source], said, ()).jobs
    try:
        data, account = _folded(job, kind)
    except Unreadable as error:
        click.echo(f"{clean(str(source))}: {clean(str(error))}", err=True)
        return UNREADABLE
    except CannotCheck as error:
        click.echo(f"{clean(str(source))}: not folded. {clean(str(error))}", err=True)
        return REFUSED
    try:
        with target.open("xb") as file:
            file.write(data)
    except OSError as error:
        click.echo(f"{clean(str(target))}: {error.strerror or error}", err=True)
        return UNREADABLE
    click.echo(f"{clean(str(target))}: {account}")
    return 0


def _folded(job: Job, kind: str) -> tuple[bytes, str]:
    """Return the bytes, and what they hold in words. Raises Unreadable and CannotCheck."""
    from lintsvc.readers.content import sha256_of
    from lintsvc.reports.folded import folded_bytes
    from lintsvc.reports.words import plural
    from lintsvc.rulebook.check import checked_again
    from lintsvc.rulebook.rule import CannotCheck

    checked = checked_again(job.path, job.choices, job.name, sha256_of(job.path))
    if checked.part.sheet is None:
        because = checked.part.not_a_sheet_because
        raise CannotCheck(f"it is no sheet part{f': {because}' if because else ''}")
    data = folded_bytes(checked, kind)
    size = " × ".join(f"{x:.2f}" for x in checked.folded.finished_size_mm)
    return data, f"{plural(len(checked.folded.bends), 'bend')} folded, {size} mm outside."
