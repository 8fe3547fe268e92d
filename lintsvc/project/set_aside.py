"""`lintsvc-set-aside.toml`: findings that somebody looked at and decided to live with, for others to review.

    [[set-aside]]
    fingerprint = "00112233445566aa"
    file = "housing/housing.stl"          # a path from this file's folder; patterns as in .gitignore
    rule = "powder-bed/thin-wall"
    reason = "a film, cut away after printing"
    author = "A. Name"
    until = 2027-01-31                    # may be left out

An entry holds for its file only: the same fault in another part is another decision. After its last day
the finding counts again. An entry whose finding is gone is told, so that the file shrinks.
"""

from __future__ import annotations

import datetime
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lintsvc.model.report import PartReport
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.project.config import ConfigError

if TYPE_CHECKING:
    from pathspec import PathSpec

NAME = "lintsvc-set-aside.toml"
_KEYS = ("fingerprint", "file", "rule", "reason", "author", "until")
_FINGERPRINT = re.compile(r"^[0-9a-f]{16}$")


@dataclass(frozen=True)
class Entry:
    """One decision."""

    fingerprint: str
    file: str
    rule: str
    reason: str
    author: str
    until: datetime.date | None
    place: str

    @cached_property
    def _spec(self) -> PathSpec[Any]:
        from pathspec import GitIgnoreSpec

        return GitIgnoreSpec.from_lines([self.file])

    def is_for(self, relative: str) -> bool:
        """True when the entry is about this file."""
        return bool(self._spec.match_file(relative))

    def shown(self) -> str:
        """Return the reason as reports show it."""
        until = f", until {self.until.isoformat()}" if self.until else ""
        return f"{self.reason} ({self.author}{until})"


@dataclass
class SetAside:
    """The decisions of one file, and which of them were used."""

    folder: Path
    entries: tuple[Entry, ...]
    today: datetime.date
    _used: set[Entry] = field(default_factory=set)
    _seen: set[Entry] = field(default_factory=set)

    def apply(self, part: PartReport, path: Path) -> PartReport:
        """Return the entry with the findings set aside that were decided about. `path`: where the file lies."""
        try:
            relative = path.resolve().relative_to(self.folder.resolve()).as_posix()
        except ValueError:
            return part
        mine = [x for x in self.entries if x.is_for(relative)]
        if part.unreadable is None:
            self._seen.update(mine)
        findings = []
        for finding in part.findings:
            found = next((x for x in mine if x.fingerprint == finding.fingerprint and x.rule == finding.rule), None)
            if found is not None:
                self._used.add(found)
                if found.until is None or found.until >= self.today:
                    finding = replace(finding, set_aside=found.shown())
            findings.append(finding)
        return replace(part, findings=tuple(findings))

    def stale(self) -> list[str]:
        """Return what is to be said of entries whose day is past, or whose finding was looked for and is gone."""
        told = []
        for entry in self.entries:
            what = f"{entry.place}: {entry.rule} on {entry.file}"
            if entry in self._seen and entry not in self._used:
                told.append(f"{what} is no longer found; take the entry out")
            elif entry in self._used and entry.until is not None and entry.until < self.today:
                told.append(f"{what} was set aside until {entry.until.isoformat()} and counts again")
        return told


def read_set_aside(path: Path, today: datetime.date) -> SetAside:
    """Read the file. Raises ConfigError naming the line and what is wrong."""
    shown = os.path.relpath(path)
    try:
        text = path.read_text("utf-8")
        data = tomllib.loads(text)
    except OSError as error:
        raise ConfigError(f"{shown}: cannot be opened: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(f"{shown}: {error}") from None
    lines = key_lines(text)
    rows = data.pop("set-aside", [])
    if data or not isinstance(rows, list) or not all(isinstance(x, Mapping) for x in rows):
        raise ConfigError(f"{shown}: holds nothing but entries headed [[set-aside]]")
    entries = []
    for number, row in enumerate(rows):
        line = line_of(("set-aside", number), lines)
        entries.append(_entry(row, f"{shown}, line {line}"))
    return SetAside(path.parent, tuple(entries), today)


def _entry(row: Mapping[str, Any], place: str) -> Entry:
    unknown = [x for x in row if x not in _KEYS]
    if unknown:
        raise ConfigError(f"{place}: there is no key {unknown[0]!r} here; it may be {', '.join(_KEYS)}")
    for key in _KEYS[:-1]:
        if not isinstance(row.get(key), str) or not row[key].strip():
            raise ConfigError(f"{place}: {key} is missing; an entry needs {', '.join(_KEYS[:-1])}")
    if not _FINGERPRINT.match(row["fingerprint"]):
        raise ConfigError(f"{place}: a fingerprint has 16 digits of 0 to 9 and a to f, as reports show it")
    until = row.get("until")
    if until is not None and (isinstance(until, datetime.datetime) or not isinstance(until, datetime.date)):
        raise ConfigError(f"{place}: until is a day, without quotes: until = 2027-01-31")
    return Entry(row["fingerprint"], row["file"], row["rule"], row["reason"], row["author"], until, place)


def entry_text(fingerprint: str, file: str, rule: str, reason: str, author: str, until: datetime.date | None) -> str:
    """Return an entry as it is written into the file."""
    lines = [
        "[[set-aside]]",
        f"fingerprint = {quoted(fingerprint)}",
        f"file = {quoted(file)}",
        f"rule = {quoted(rule)}",
        f"reason = {quoted(reason)}",
        f"author = {quoted(author)}",
        *([f"until = {until.isoformat()}"] if until else []),
    ]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """Return `text` as a TOML basic string (TOML 1.0, section String)."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(x if x.isprintable() else f"\\U{ord(x):08X}" for x in escaped) + '"'
