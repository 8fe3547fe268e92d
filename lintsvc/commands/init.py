"""`lintsvc init`."""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

import click

from lintsvc.commands.paths import find_files
from lintsvc.project.config import NAME, parse_config
from lintsvc.project.set_aside import quoted

#: Flats are known by their extension; every other format may hold a body.
_FLATS = (".dxf", ".svg")
#: A thickness in a file's or folder's name: mast_2.5mm.dxf, 3mm/plate.dxf, t0.08in.dxf.
_THICKNESS = re.compile(r"(?<![0-9.])([0-9]{1,2}(?:\.[0-9]{1,3})?) ?(mm|in)(?![a-z0-9])", re.IGNORECASE)

_HEAD = """\
# Which files are parts of what. Patterns as in .gitignore, from this folder; a later entry wins over an earlier one.
# `lintsvc check .` looks at the files that an entry names. `lintsvc materials` lists the materials.
"""


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False), default=".")
def init(folder: Path) -> int:
    """Write FOLDER's lintsvc.toml from the part files that are there; what is not known is left to be filled in.

    Never writes over a file.
    """
    target = folder / NAME
    if target.exists():
        raise click.UsageError(f"{target} is there already")
    names = [PurePosixPath(os.path.relpath(x.path, folder)) for x in find_files([folder])]
    if not names:
        raise click.UsageError(f"there are no part files in {folder}")
    text = config_text(names)
    parse_config(text, target)  # what is written must be what is read
    try:
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        raise click.UsageError(f"{target}: {error.strerror or error}") from None
    click.echo(f"{target} is written; fill in the materials and thicknesses, then: lintsvc check {folder}")
    return 0


def config_text(names: Iterable[PurePosixPath]) -> str:
    """Return the text of a lintsvc.toml for files named from its folder: an entry for each folder and kind."""
    groups: dict[tuple[str, bool, str], set[str]] = defaultdict(set)
    counts: dict[tuple[str, bool, str], int] = defaultdict(int)
    for name in names:
        flat = name.suffix.lower() in _FLATS
        key = (name.parent.as_posix(), flat, _thickness(name) if flat else "")
        groups[key].add(name.name if key[2] else f"*{name.suffix}")
        counts[key] += 1
    blocks = [_HEAD]
    for key in sorted(groups):
        folder, flat, thickness = key
        patterns = ", ".join(quoted(_pattern(folder, x)) for x in sorted(groups[key]))
        files = "1 file" if counts[key] == 1 else f"{counts[key]} files"
        lines = ["[[parts]]", f"files = [{patterns}]  # {files}"]
        if flat:
            lines += ['process = "sheet"', '# material = "aluminium-5052-h32"']
            lines.append(f'thickness = "{thickness}"  # by the name' if thickness else '# thickness = "2.5mm"')
        else:
            # A solid may also be a sheet part; STEP says so by its shape. So no process is written.
            lines += ['# process = "powder-bed"', '# material = "pa12"']
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


def _thickness(name: PurePosixPath) -> str:
    """Return the one thickness that a file's name, else its folders' names, state; empty for none or several."""
    for part in reversed(name.parts):
        found = {f"{float(value):g}{unit.lower()}" for value, unit in _THICKNESS.findall(part)}
        if found:
            return found.pop() if len(found) == 1 else ""
    return ""


def _pattern(folder: str, name: str) -> str:
    """Return a pattern for files of one folder only. `name` is a file's name, or `*` and an extension."""
    escaped = "".join("\\" + x if x in "?[]\\!#" or (x == "*" and not name.startswith("*")) else x for x in name)
    inside = "".join("\\" + x if x in "*?[]\\!#" else x for x in folder)
    return f"/{escaped}" if folder == "." else f"/{inside}/{escaped}"
