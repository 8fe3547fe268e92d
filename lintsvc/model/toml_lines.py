"""Which line of a TOML text a key stands on. The standard reader keeps no places, and an error has to name one."""

from __future__ import annotations

import re
from collections.abc import Sequence

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*([A-Za-z0-9_-]+|"[^"]*"|'[^']*')\s*(?:\.\s*([A-Za-z0-9_-]+)\s*)?=""")

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Return the line (from 1) of each table header and each key at a line's beginning.

    A path counts list entries from 0: `[[part]]` the second time is ("part", 1).
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            names = [x.strip().strip("\"'") for x in header[2].split(".")]
            table = _placed(names[:-1], counts)
            if header[1] == "[[":
                key = (*table, names[-1])
                counts[key] = counts.get(key, -1) + 1
                table = (*key, counts[key])
            else:
                table = (*table, names[-1])
            lines[table] = number
        elif key_match := _KEY.match(line):
            path: Path = (*table, key_match[1].strip("\"'"))
            if key_match[2]:
                path = (*path, key_match[2])
            lines.setdefault(path, number)
    return lines


def _placed(names: Sequence[str], counts: dict[Path, int]) -> Path:
    """Return the path of a header's outer tables: the last entry of each list."""
    path: Path = ()
    for name in names:
        path = (*path, name)
        if path in counts:
            path = (*path, counts[path])
    return path


def line_of(path: Sequence[str | int], lines: dict[Path, int]) -> int | None:
    """Return the line of a path, or of the nearest thing around it; None when nothing of it is written."""
    for end in range(len(path), 0, -1):
        found = lines.get(tuple(path[:end]))
        if found is not None:
            return found
    return None
