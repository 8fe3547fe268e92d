"""The command `lintsvc`. Commands, and the library that reads their words, are imported only when one is named.

Reading the first word needs no library, and click alone takes as long to import as the interpreter takes to start.

Exit status: 0 nothing to object to; 1 findings; 2 bad usage, or a file that cannot be read;
3 a check that could not be finished; 130 stopped from the keyboard.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import TYPE_CHECKING

from lintsvc import __version__

if TYPE_CHECKING:
    import click

#: Name of a command: the module and function of it, and its line in the list of commands.
COMMANDS: dict[str, tuple[str, str]] = {
    "check": ("lintsvc.commands.check:check", "Check part files against the rules of their process."),
    "order": ("lintsvc.commands.order:order", "Check an order: parts, and how they go together."),
    "packet": ("lintsvc.commands.packet:packet", "Make what goes out with an order: pages, prints, one zip."),
    "arrive": ("lintsvc.commands.arrive:arrive", "Inspect what arrived: accept, rework or reject, and learn."),
    "print": ("lintsvc.commands.packet:print_outline", "Print an outline 1:1, tiled over pages."),
    "init": ("lintsvc.commands.init:init", "Write a lintsvc.toml from the part files that are there."),
    "set-aside": ("lintsvc.commands.set_aside:set_aside", "Decide to live with a finding, and say why."),
    "compare": ("lintsvc.commands.compare:compare", "Say what changed between two reports, folders or commits."),
    "compare-materials": (
        "lintsvc.commands.compare_materials:compare_materials",
        "Hold a part against every material and thickness.",
    ),
    "mend": ("lintsvc.commands.mend:mend", "Set right what is surely meant in a mesh file."),
    "fold": ("lintsvc.commands.fold:fold", "Fold a flat to the body that it becomes, as GLB or STEP."),
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


_OPTIONS = (("--version", "Show the version and exit."), ("-h, --help", "Show this message and exit."))


def command(name: str) -> click.Command:
    """Import and return the command of this name, one of `COMMANDS`."""
    module, function = COMMANDS[name][0].split(":")
    found: click.Command = getattr(import_module(module), function)
    return found


def help_text() -> str:
    """Return the list of commands and options of `lintsvc` itself."""
    wide = max(map(len, COMMANDS))
    rows = [f"  {name:{wide}}  {line}" for name, (_, line) in COMMANDS.items()]
    options = [f"  {name:{wide}}  {line}" for name, line in _OPTIONS]
    return "\n".join(
        (
            "Usage: lintsvc [OPTIONS] COMMAND [ARGS]...",
            "",
            "  Check part files before they are sent out to be made.",
            "",
            "  Powder-bed nylon prints, laser-cut and bent sheet, hand-cut gaskets.",
            "",
            "Options:",
            *options,
            "",
            "Commands:",
            *rows,
        )
    )


def main(args: list[str] | None = None) -> None:
    """Run the command and end the process with its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # Whatever the terminal cannot show is written as an escape instead of ending in an error.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    words = sys.argv[1:] if args is None else args
    try:
        status = _run(words)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        status = STOPPED
    except Exception as error:  # noqa: BLE001 - the border of the program: a mistake of ours, told in one line
        told = f"lintsvc failed, and should not have: {type(error).__name__}: {error} ({_place(error)})"
        print(told, file=sys.stderr)
        status = UNFINISHED
    if args is not None:
        sys.exit(status)
    from lintsvc.leaving import leave

    leave(status)


def _run(words: list[str]) -> int:
    """Return the exit status of the command that the words name."""
    name = words[0] if words else ""
    if name in COMMANDS:
        return _run_command(name, words[1:])
    if name in ("-h", "--help"):
        print(help_text())
        return 0
    if name == "--version":
        print(f"lintsvc {__version__}")
        return 0
    if not name:
        print(help_text(), file=sys.stderr)
        return BAD_USAGE
    if name.startswith("-"):
        wrong = f"there is no option {name!r} before the command; there are {', '.join(x for x, _ in _OPTIONS)}"
    else:
        from difflib import get_close_matches

        close = get_close_matches(name, COMMANDS, n=1)
        meant = f"did you mean {close[0]}?" if close else f"there are {', '.join(COMMANDS)}"
        wrong = f"there is no command {name!r}; {meant}"
    print(f"Usage: lintsvc [OPTIONS] COMMAND [ARGS]...\nTry 'lintsvc -h' for help.\n\nError: {wrong}", file=sys.stderr)
    return BAD_USAGE


def _run_command(name: str, words: list[str]) -> int:
    if name != "check":
        return _run_by_click(name, words)
    from lintsvc.commands import ahead

    ahead.start(words)
    try:
        return _run_by_click(name, words)
    finally:
        ahead.stop()


def _run_by_click(name: str, words: list[str]) -> int:
    import click

    try:
        status = command(name).main(
            words,
            prog_name=f"lintsvc {name}",
            standalone_mode=False,
            max_content_width=100,
            help_option_names=["-h", "--help"],
        )
    except click.ClickException as error:
        error.show()
        return max(BAD_USAGE, error.exit_code)
    except click.Abort:
        print("stopped", file=sys.stderr)
        return STOPPED
    return status if isinstance(status, int) else 0


def _place(error: Exception) -> str:
    """Return file and line where an error arose."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "nowhere"


if __name__ == "__main__":
    main()
