"""Which line of a TOML text a key stands on. The standard reader keeps no places, and an error has to name one."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence

_HEADER = re.compile(r"[ \t]*(\[\[?)\s*([^\]\n]+?)\s*\]\]?[ \t]*(?:#[^\n]*)?(?:\r?\n|$)")
_NAME = r"""[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*'"""
_KEY = re.compile(rf"[ \t]*((?:{_NAME})(?:[ \t]*\.[ \t]*(?:{_NAME}))*)[ \t]*=[ \t]*")
_ONE_NAME = re.compile(_NAME)
#: What stands between the entries of a list: spaces, ends of lines, comments.
_BETWEEN = re.compile(r"(?:\s|#[^\n]*)*")
_TEXT = re.compile(
    r"""(?s:\"\"\"(?:\\.|[^\\])*?\"\"\"+|\'\'\'.*?\'\'\'+)|"(?:\\.|[^"\\\n])*"|'[^'\n]*'""",
)
_PLAIN = re.compile(r"[^,\]\}\n#]*")
_REST = re.compile(r"[^\n]*(?:\n|$)")

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Return the line (from 1) of each table header, each key, and each entry of a list.

    A path counts list entries from 0: `[[part]]` the second time is ("part", 1), as is the second of `part = [ … ]`.
    """
    return _Lines(text).read()


class _Lines:
    """One reading of a text that the standard reader has read: its mistakes are not looked for."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        #: The last place whose line was counted, and that line.
        self.counted = (0, 1)

    def read(self) -> dict[Path, int]:
        counts: dict[Path, int] = {}
        table: Path = ()
        while self.at < len(self.text):
            if header := _HEADER.match(self.text, self.at):
                names = [x.strip().strip("\"'") for x in header[2].split(".")]
                table = _placed(names[:-1], counts)
                if header[1] == "[[":
                    key = (*table, names[-1])
                    counts[key] = counts.get(key, -1) + 1
                    table = (*key, counts[key])
                else:
                    table = (*table, names[-1])
                self.lines[table] = self._line()
                self.at = header.end()
                continue
            self._pair(table)
            self._skip(_REST)
        return self.lines

    def _line(self) -> int:
        """Return the line that is read now."""
        place, line = self.counted
        self.counted = self.at, line + self.text.count("\n", place, self.at)
        return self.counted[1]

    def _skip(self, what: re.Pattern[str]) -> None:
        found = what.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def _pair(self, path: Path) -> bool:
        """Read a key with its value; False where none stands."""
        key = _KEY.match(self.text, self.at)
        if key is None:
            return False
        line = self._line()
        for name in _ONE_NAME.findall(key[1]):
            path = (*path, name.strip("\"'"))
            self.lines.setdefault(path, line)
        self.at = key.end()
        self._value(path)
        return True

    def _value(self, path: Path) -> None:
        """Read a value, and note where the entries of a list and the keys of a table in it stand."""
        opening = self.text[self.at : self.at + 1]
        if opening not in ("[", "{"):
            self._skip(_TEXT if opening in ('"', "'") else _PLAIN)
            return
        self.at += 1
        for number in itertools.count():
            self._skip(_BETWEEN)
            before = self.at
            if self.text[self.at : self.at + 1] in ("]", "}", ""):
                break
            if opening == "[":
                self.lines.setdefault((*path, number), self._line())
                self._value((*path, number))
            else:
                self._pair(path)
            self._skip(_BETWEEN)
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
            elif self.at == before:
                return
        self.at += 1


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
