"""`lintsvc warm`."""

from __future__ import annotations

import click

from lintsvc.commands.packs import packs_or_fail


@click.command()
def warm() -> None:
    """Compile what is otherwise compiled in the first check, and keep it for the next ones.

    Compiled code lies beside the program, or in the user's cache folder where that is read-only.
    """
    from lintsvc_worker import warm_up

    click.echo("Compiling the measuring code where that is not done yet: about a minute the first time …", err=True)
    packs = packs_or_fail(())
    warm_up.run([rule for pack in packs for rule in pack.rules])
