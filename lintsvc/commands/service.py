"""`lintsvc serve`, `worker`, `token`, `doctor`: running the service."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from lintsvc.store.database import Database

#: The service cannot start, or something it needs is missing.
CANNOT_START = 3


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to serve on.")
@click.option("--port", default=8080, show_default=True, type=click.IntRange(0, 65535), help="0 takes a free one.")
@click.option("--settings", "show", is_flag=True, help="List all settings (environment variables) and stop.")
def serve(host: str, port: int, show: bool) -> None:
    """Serve the page and the API, with a queue and a worker, until stopped."""
    from lintsvc.settings import BadSetting, table
    from lintsvc.store.embedded_redis import CannotStart

    if show:
        for variable, default, help_text in table():
            click.echo(f"{variable:<30} {default or '-':<12} {help_text}")
        return
    from lintsvc.leaving import leave
    from lintsvc.web.serve import serve as run

    try:
        leave(run(host, port))
    except (CannotStart, BadSetting) as error:
        click.echo(f"lintsvc: {error}", err=True)
        sys.exit(CANNOT_START)


@click.command()
def worker() -> None:
    """Run one worker beside the serving process, on this or another machine."""
    from lintsvc.settings import BadSetting, Settings

    try:
        settings = Settings.from_environment()
    except BadSetting as error:
        click.echo(f"lintsvc: {error}", err=True)
        sys.exit(CANNOT_START)
    if not settings.redis_url:
        click.echo(
            "lintsvc: a worker of its own needs LINTSVC_REDIS_URL; `lintsvc serve` starts one by itself", err=True
        )
        sys.exit(CANNOT_START)
    # By name, as a program: the command and the web never import the worker's code.
    import runpy

    runpy.run_module("lintsvc_worker", run_name="__main__")


@click.group()
def token() -> None:
    """Make, list and revoke the tokens that a service on a public address needs."""


@token.command("make")
@click.argument("name")
@click.option(
    "--scope",
    "scopes",
    multiple=True,
    type=click.Choice(["check", "read", "admin"]),
    default=["check"],
    show_default=True,
    help="What it may do; may be given again.",
)
@click.option("--days", type=click.IntRange(1, 3650), default=None, help="Until when it holds; for ever if not given.")
def make(name: str, scopes: tuple[str, ...], days: int | None) -> None:
    """Make a token called NAME and print it, once."""
    from lintsvc.store.tokens import make_token

    made, secret = make_token(_database(), name, frozenset(scopes), days)
    click.echo(secret)
    click.echo(f"id {made.id}; it is shown this once and stored as a hash", err=True)


@token.command("list")
def listed() -> None:
    """List the tokens."""
    from datetime import UTC, datetime

    from lintsvc.store.tokens import list_tokens

    for x in list_tokens(_database()):
        until = "" if x.expires is None else f", until {datetime.fromtimestamp(x.expires, UTC):%Y-%m-%d}"
        click.echo(f"{x.id}  {x.name}  {' '.join(sorted(x.scopes))}{until}{', revoked' if x.revoked else ''}")


@token.command("revoke")
@click.argument("token_id")
def revoke(token_id: str) -> None:
    """Make a token invalid from now on."""
    from lintsvc.store.tokens import revoke_token

    if not revoke_token(_database(), token_id):
        raise click.ClickException(f"there is no token {token_id} to revoke; `lintsvc token list` lists them")


def _database() -> Database:
    from lintsvc.settings import BadSetting, Settings
    from lintsvc.store.database import Database

    try:
        settings = Settings.from_environment()
    except BadSetting as error:
        raise click.ClickException(str(error)) from None
    settings.state.mkdir(parents=True, exist_ok=True, mode=0o700)
    db = Database(settings.sqlalchemy_url)
    db.migrate()
    return db


@click.command()
def doctor() -> None:
    """Say in words what the service has, what it lacks, and what to do."""
    from lintsvc.settings import BadSetting, Settings
    from lintsvc.store.doctor import look

    try:
        settings = Settings.from_environment()
    except BadSetting as error:
        click.echo(f"wrong    settings: {error}")
        sys.exit(CANNOT_START)
    bad = False
    for found in look(settings):
        bad = bad or not found.well
        click.echo(f"{'well' if found.well else 'wrong':<8} {found.what}: {found.words}")
    sys.exit(CANNOT_START if bad else 0)
