"""`lintsvc warm`."""

from __future__ import annotations

import click

from lintsvc.commands.packs import packs_or_fail

UNFINISHED = 3


@click.command()
def warm() -> int:
    """Compile what is otherwise compiled in the first check, and keep it for the next ones.

    Compiled code lies beside the program, or in the user's cache folder where that is read-only; NUMBA_CACHE_DIR
    names another folder. Exit status: 3 when it can be kept nowhere.
    """
    from lintsvc_worker import warm_up

    from lintsvc.measure import kept_code

    click.echo("Compiling the measuring code where that is not done yet: about a minute the first time …", err=True)
    packs = packs_or_fail(())
    warm_up.run([rule for pack in packs for rule in pack.rules])
    if kept_code.not_kept:
        click.echo(
            f"The compiled code cannot be kept, so that each check compiles it again ({kept_code.not_kept[0]}): "
            "set NUMBA_CACHE_DIR to a folder that can be written.",
            err=True,
        )
        return UNFINISHED
    return 0
