"""The pages in `docs/`: reference pages are written from the code, worked pages are run and show what really came out.

`python tools/pages.py` writes them anew; `--check` only says which are not true, and is one of the tests.

A worked page is Markdown. A block after `<!-- file: NAME -->` is written to that file in an empty folder; in a
`console` block each line that begins with `$ ` is run there, and what it prints stands under it.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from pages_handbook import handbook
from pages_interfaces import api, report, rule_api

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
WORKED = ("rule-files.md", "repository.md", "tutorial.md")
_MADE = "<!-- Written by tools/pages.py from the code; change it there. -->\n\n"
_BLOCK = re.compile(r"(?:<!-- file: (?P<file>\S+) -->\n)?```(?P<kind>\w*)\n(?P<text>.*?)```", re.DOTALL)


def commands() -> str:
    """Return the page of all commands: what their help says."""
    import click

    from lintsvc.cli import COMMANDS, command

    def page(named: click.Command, words: list[str], level: int) -> str:
        # A fixed width: the page must not depend on the terminal.
        context = click.Context(named, info_name=" ".join(words), terminal_width=100, max_content_width=100)
        text = f"{'#' * level} {' '.join(words)}\n\n```\n{named.get_help(context).rstrip()}\n```\n\n"
        if isinstance(named, click.Group):
            for name, each in named.commands.items():
                text += page(each, [*words, name], level + 1)
        return text

    text = "# Commands\n\n"
    for name in COMMANDS:
        text += page(command(name), ["lintsvc", name], 2)
    return text


def rules() -> str:
    """Return the page of all built-in rules."""
    from lintsvc.reports.rule_pages import markdown
    from lintsvc.rulebook.packs import load_packs

    text = "# Rules\n\n"
    for pack in load_packs(installed=False):
        text += f"## {pack.title}\n\n{pack.summary}\n\n"
        text += "\n".join(markdown(rule, heading=3) for rule in pack.rules) + "\n"
    return text


def conditions() -> str:
    """Return the page of what a limit rule's condition may say."""
    from lintsvc.reports.tables import markdown_table
    from lintsvc.rulebook.limit_rules.features import FEATURES, FUNCTIONS, SINGLES
    from lintsvc.rulebook.limit_rules.kinds import UNITS

    text = "# What a condition may say\n\nHow conditions are written stands in [rule files](../rule-files.md).\n\n"
    text += "## What a part has many of\nA rule is about one of these.\n\n"
    for feature in FEATURES:
        rows = [("value", "is", "what")]
        rows += [(f"{feature.name}.{key}", x.kind.name, x.what) for key, x in feature.attributes.items()]
        kind = "Flats" if feature.kind == "sheet" else "Bodies"
        text += f"### {feature.name}\n{kind}: {feature.what}.\n\n{markdown_table(rows)}\n\n"
    text += "## What a part has one of\n\n"
    rows = [("value", "is", "what")]
    rows += [(f"{x.name}.{key}", y.kind.name, y.what) for x in SINGLES for key, y in x.attributes.items()]
    text += markdown_table(rows) + "\n\n## Look-ups in the handbook\n\n"
    rows = [("look-up", "gives", "what")]
    rows += [(f"{name}()", x.gives.name, x.what) for name, x in FUNCTIONS.items()]
    rows += [("min(), max()", "like its values", "the least, the largest: max(3 mm, 1.2 * sheet.thickness)")]
    text += markdown_table(rows) + "\n\n## Units\n\n"
    rows = [("unit", "is")]
    rows += [(unit, kind.name) for unit, (kind, _) in UNITS.items()]
    return text + markdown_table(rows) + "\n"


REFERENCE: dict[str, Callable[[], str]] = {
    "commands.md": commands,
    "rules.md": rules,
    "conditions.md": conditions,
    "handbook.md": handbook,
    "report.md": report,
    "api.md": api,
    "rule-api.md": rule_api,
}


def worked(text: str) -> str:
    """Return a worked page with what its commands print now."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def block(match: re.Match[str]) -> str:
            if match["file"]:
                path = folder / match["file"]
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(match["text"], "utf-8")
            if match["kind"] != "console":
                return match[0]
            lines = [x for x in match["text"].splitlines() if x.startswith("$ ")]
            return "```console\n" + "".join(f"{x}\n{_ran(x[2:], folder)}" for x in lines) + "```"

        return _BLOCK.sub(block, text)


def _ran(line: str, folder: Path) -> str:
    alone = {
        "XDG_CACHE_HOME": str(folder / ".cache"),
        "GIT_CONFIG_GLOBAL": os.devnull,
        "GIT_CONFIG_SYSTEM": os.devnull,
        **{f"GIT_{x}_{y}": "you@invalid" for x in ("AUTHOR", "COMMITTER") for y in ("NAME", "EMAIL")},
    }
    return printed_by(shlex.split(line), folder, alone)


def printed_by(words: list[str], folder: Path, environment: dict[str, str]) -> str:
    """Return what a command prints in a folder, on both streams."""
    words = {"lintsvc": [sys.executable, "-m", "lintsvc.cli"], "python": [sys.executable]}.get(
        words[0], words[:1]
    ) + words[1:]
    done = subprocess.run(
        words,
        cwd=folder,
        env=os.environ | environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    return done.stdout.decode("utf-8")


_SHOWN = re.compile(r"<!-- shown: (?P<file>\S+) -->\n(?:```\w*\n.*?```\n)?", re.DOTALL)


def shown(text: str) -> str:
    """Return a page with the files that it shows as they are now."""

    def block(match: re.Match[str]) -> str:
        path = DOCS / match["file"]
        kind = {".yml": "yaml"}.get(path.suffix, "sh")
        return f"<!-- shown: {match['file']} -->\n```{kind}\n{path.read_text('utf-8')}```\n"

    return _SHOWN.sub(block, text)


def pages() -> dict[Path, str]:
    """Return every page as it should be."""
    made = {DOCS / "reference" / name: _MADE + make().rstrip() + "\n" for name, make in REFERENCE.items()}
    made |= {DOCS / name: shown((DOCS / name).read_text("utf-8")) for name in ("recipes.md",)}
    return made | {DOCS / name: worked((DOCS / name).read_text("utf-8")) for name in WORKED}


if __name__ == "__main__":
    untrue = {path: text for path, text in pages().items() if not path.exists() or path.read_text("utf-8") != text}
    if "--check" in sys.argv:
        names = ", ".join(str(x.relative_to(ROOT)) for x in untrue)
        raise SystemExit(f"{names}: not what the program says now; run tools/pages.py" if untrue else 0)
    for path, text in untrue.items():
        path.write_text(text, "utf-8")
        print(f"{path.relative_to(ROOT)} is written")
