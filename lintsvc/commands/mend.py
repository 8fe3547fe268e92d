"""`lintsvc mend`."""

from __future__ import annotations

from pathlib import Path

import click

REFUSED, UNREADABLE = 1, 2


@click.command()
@click.argument("source", metavar="IN", type=click.Path(path_type=Path))
@click.argument("target", metavar="OUT", type=click.Path(path_type=Path))
def mend(source: Path, target: Path) -> int:
    """Set right what is surely meant in the mesh file IN, and write it to the new file OUT.

    Hair-wide seams are joined, spare faces taken out, faces turned outward, plain holes closed. The format
    follows the ending of OUT: .stl, .obj, .ply, .3mf or .glb. Only the surface and the names of its bodies are
    written, no colours or textures. Never writes over a file; refuses what is not sure.

    Exit status: 0 mended, or nothing to mend; 1 refused, and why; 2 IN cannot be read or OUT not be written.
    """
    from lintsvc.measure.mend import CannotMend, mend_file
    from lintsvc.model.part import Unreadable
    from lintsvc.reports.words import clean

    try:
        account = mend_file(source, target)
    except Unreadable as error:
        click.echo(f"{clean(str(source))}: {clean(str(error))}", err=True)
        return UNREADABLE
    except CannotMend as error:
        click.echo(f"{clean(str(source))}: not mended. {clean(str(error))}", err=True)
        return REFUSED
    except OSError as error:
        click.echo(f"{clean(str(target))}: {error.strerror or error}", err=True)
        return UNREADABLE
    if account.changed:
        click.echo(f"{clean(str(target))}: {account.faces_before} faces before, {account.faces_after} after.")
    else:
        what = "there is nothing that is surely to be mended" if account.left else "there is nothing to mend"
        click.echo(f"{clean(str(source))}: {what}; nothing was written.")
    for sentence in (*account.done(), *account.left):
        click.echo(f"  {sentence}")
    return 0
