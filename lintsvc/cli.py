"""The command `lintsvc`. Commands are imported only when they are named: `lintsvc --help` must be quick.

Exit status: 0 nothing to object to; 1 findings; 2 bad usage, or a file that cannot be read;
3 a check that could not be finished; 130 stopped from the keyboard.
"""

from __future__ import annotations

import difflib
import sys
from importlib import import_module

import click

from lintsvc import __version__

#: Name of a command: the module and function of it, and its line in the list of commands.
COMMANDS: dict[str, tuple[str, str]] = {
    "check": ("lintsvc.commands.check:check", "Check part files against the rules of their process."),
    "init": ("lintsvc.commands.init:init", "Write a lintsvc.toml from the part files that are there."),
    "set-aside": ("lintsvc.commands.set_aside:set_aside", "Decide to live with a finding, and say why."),
    "compare": ("lintsvc.commands.compare:compare", "Say what changed between two reports, folders or commits."),
    "mend": ("lintsvc.commands.mend:mend", "Set right what is surely meant in a mesh file."),
    "demo": ("lintsvc.commands.demo:demo", "Write the demo's part files, good and faulty ones."),
    "rules": ("lintsvc.commands.rules:rules", "List the rules."),
    "explain": ("lintsvc.commands.rules:explain", "Say everything about one rule."),
    "features": ("lintsvc.commands.features:features", "List what limit rules may speak of."),
    "new-rule": ("lintsvc.commands.new_rule:new_rule", "Write a limit rule with a good and a bad part."),
    "test-rules": ("lintsvc.commands.test_rules:test_rules", "Hold rules against their good and bad parts."),
    "materials": ("lintsvc.commands.materials:materials", "List the materials of the handbook."),
    "serve": ("lintsvc.commands.service:serve", "Serve the page and the API, with a queue and a worker."),
    "worker": ("lintsvc.commands.service:worker", "Run one more worker, here or on another machine."),
    "token": ("lintsvc.commands.service:token", "Make, list and revoke tokens."),
    "doctor": ("lintsvc.commands.service:doctor", "Say what the service lacks, and what to do."),
    "schema": ("lintsvc.commands.schema:schema", "Print the JSON Schema of the JSON report."),
    "warm": ("lintsvc.commands.warm:warm", "Compile what is otherwise compiled in the first check."),
}

BAD_USAGE = 2
UNFINISHED = 3
STOPPED = 130


class _Commands(click.Group):
    """A group that knows its commands by name and line, and imports one on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module, function = COMMANDS[name][0].split(":")
        found = getattr(import_module(module), function)
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        # From the table: click would import every command for its first line of help.
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            close = difflib.get_close_matches(name, COMMANDS, n=1)
            meant = f"did you mean {close[0]}?" if close else f"there are {', '.join(COMMANDS)}"
            ctx.fail(f"there is no command {name!r}; {meant}")
        return super().resolve_command(ctx, args)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="lintsvc", message="%(prog)s %(version)s")
def commands() -> None:
    """Check part files before they are sent out to be made.

    Powder-bed nylon prints, laser-cut and bent sheet, hand-cut gaskets.
    """


def main(args: list[str] | None = None) -> None:
    """Run the command and end the process with its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # Whatever the terminal cannot show is written as an escape instead of ending in an error.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        status = commands.main(args, prog_name="lintsvc", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        status = BAD_USAGE
    except click.ClickException as error:
        error.show()
        status = BAD_USAGE
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        status = STOPPED
    except Exception as error:  # noqa: BLE001 - the border of the program: a mistake of ours, told in one line
        click.echo(f"lintsvc failed, and should not have: {type(error).__name__}: {error} ({_place(error)})", err=True)
        status = UNFINISHED
    sys.exit(status if isinstance(status, int) else 0)


def _place(error: Exception) -> str:
    """Return file and line where an error arose."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "nowhere"


if __name__ == "__main__":
    main()
