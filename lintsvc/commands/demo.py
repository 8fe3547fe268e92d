"""`lintsvc demo`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
def demo(folder: Path) -> None:
    """Write the demo's part files into FOLDER: a stream-level gauge, in a good and a faulty version."""
    from lintsvc.demo import write_demo

    for path in write_demo(folder):
        click.echo(str(path))
