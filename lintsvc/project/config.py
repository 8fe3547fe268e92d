"""`lintsvc.toml`: which files are parts of what process, material and thickness, and what changes of the rules.

    packs = ["lint-rules"]                # folders of further rule packs
    exclude = ["archive/"]                # not looked at when a folder is checked
    fail_on = "warning"
    shop = "shop.toml"                    # a shop's own limits and what its parts came out at, see `rulebook.shop`

    [[parts]]
    files = ["brackets/*.dxf"]            # patterns as in .gitignore, from this file's folder
    material = "aluminium-5052-h32"
    thickness = "2.5mm"

    [limits] and [levels]                 # see `lintsvc.rulebook.adjust`

Files of folders further in add to those further out, and win over them; later entries win over earlier ones.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lintsvc.model.choices_words import CHOICE_NAMES, BadChoice, choices_from_words
from lintsvc.model.finding import LEVELS
from lintsvc.model.meant import meant
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, read_adjustments
from lintsvc.rulebook.rule import RuleError
from lintsvc.rulebook.shop import ShopError, read_shop
from lintsvc.text_file import NoText, read_text_file

if TYPE_CHECKING:
    from pathspec import PathSpec

NAME = "lintsvc.toml"
FAIL_ON = (*LEVELS, "never")
_KEYS = ("packs", "exclude", "fail_on", "set_aside", "shop", "parts", "limits", "levels")


class ConfigError(Exception):
    """The file cannot be used. Names the file, the line, and the valid words."""


@dataclass(frozen=True)
class Entry:
    """One `[[parts]]`: patterns, and the choices in the command's own words."""

    patterns: tuple[str, ...]
    words: Mapping[str, str]
    place: str

    @cached_property
    def _spec(self) -> PathSpec[Any]:
        return _spec(self.patterns)

    def covers(self, relative: str) -> bool:
        """True when a path, from the config's folder and with `/`, is meant."""
        return bool(self._spec.match_file(relative))


@dataclass(frozen=True)
class Config:
    """One `lintsvc.toml`. Paths in it are from its folder."""

    path: Path
    entries: tuple[Entry, ...] = ()
    packs: tuple[Path, ...] = ()
    exclude: tuple[str, ...] = ()
    fail_on: str | None = None
    set_aside: Path | None = None
    adjustments: Adjustments = NO_ADJUSTMENTS

    @property
    def folder(self) -> Path:
        """The folder that its patterns count from."""
        return self.path.parent

    @cached_property
    def _excluded(self) -> PathSpec[Any]:
        return _spec(self.exclude)

    def excludes(self, relative: str) -> bool:
        """True when a path is not to be looked at."""
        return bool(self._excluded.match_file(relative))


def read_config(path: Path, shown: str = "") -> Config:
    """Read one file, named `shown` in errors and sources. Raises ConfigError."""
    shown = shown or str(path)
    try:
        text = read_text_file(path, shown)
    except NoText as error:
        raise ConfigError(str(error)) from None
    return parse_config(text, path, shown)


def parse_config(text: str, path: Path, shown: str = "") -> Config:
    """Read the text of a file that lies at `path`. Raises ConfigError."""
    shown = shown or str(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{shown}: {error}") from None
    return _Reader(path, shown, data, text).config()


class _Reader:
    def __init__(self, path: Path, shown: str, data: Mapping[str, Any], text: str) -> None:
        self.path = path
        self.shown = shown
        self.data = data
        self.lines = key_lines(text)

    def place(self, *keys: str | int) -> str:
        """Name the file and the line of a key."""
        line = line_of(keys, self.lines)
        return f"{self.shown}, line {line}" if line else self.shown

    def config(self) -> Config:
        self._known(self.data, _KEYS)
        fail_on = self.data.get("fail_on")
        if fail_on is not None and fail_on not in FAIL_ON:
            raise ConfigError(f"{self.place('fail_on')}: {fail_on!r} is no level; it may be {', '.join(FAIL_ON)}")
        try:
            # The shop's word first: what stands here is nearer to the parts.
            adjustments = self._shop().then(read_adjustments(self.data, self.place))
        except (RuleError, ShopError) as error:
            raise ConfigError(str(error)) from None
        set_aside = self.data.get("set_aside")
        if set_aside is not None and not isinstance(set_aside, str):
            raise ConfigError(f"{self.place('set_aside')}: set_aside is the name of a file")
        entries = self.data.get("parts", [])
        if not isinstance(entries, list) or not all(isinstance(x, Mapping) for x in entries):
            raise ConfigError(f"{self.place('parts')}: parts are written as [[parts]], once for each kind of part")
        return Config(
            self.path,
            tuple(self._entry(number, entry) for number, entry in enumerate(entries)),
            tuple(self.path.parent / x for x in self._texts("packs")),
            self._texts("exclude"),
            fail_on,
            None if set_aside is None else self.path.parent / set_aside,
            adjustments,
        )

    def _shop(self) -> Adjustments:
        """Return what the shop.toml that is named changes of the rules. Raises ShopError."""
        name = self.data.get("shop")
        if name is None:
            return NO_ADJUSTMENTS
        if not isinstance(name, str):
            raise ConfigError(f"{self.place('shop')}: shop is the name of a file")
        return read_shop(self.path.parent / name, name).adjustments()

    def _entry(self, number: int, entry: Mapping[str, Any]) -> Entry:
        self._known(entry, ("files", *CHOICE_NAMES), "parts", number)
        place = self.place("parts", number)
        files = entry.get("files")
        patterns = [files] if isinstance(files, str) else files
        if not isinstance(patterns, list) or not patterns or not all(isinstance(x, str) for x in patterns):
            raise ConfigError(f'{place}: files is missing; write patterns such as files = ["brackets/*.dxf"]')
        words = {
            # Lists of bends, threads and countersinks are read as an upload's are: as JSON.
            key: json.dumps(value) if isinstance(value, list) else str(value)
            for key, value in entry.items()
            if key != "files"
        }
        try:
            choices_from_words(words)
        except BadChoice as error:
            raise ConfigError(f"{self.place('parts', number, error.name)}: {error}") from None
        return Entry(tuple(patterns), words, place)

    def _texts(self, key: str) -> tuple[str, ...]:
        found = self.data.get(key, [])
        if not isinstance(found, list) or not all(isinstance(x, str) for x in found):
            raise ConfigError(f'{self.place(key)}: {key} is a list of texts: {key} = ["…"]')
        return tuple(found)

    def _known(self, table: Mapping[str, Any], keys: Sequence[str], *path: str | int) -> None:
        for key in table:
            if key not in keys:
                raise ConfigError(f"{self.place(*path, key)}: there is no key {key!r} here; {meant(key, keys)}")


def _spec(patterns: Iterable[str]) -> PathSpec[Any]:
    # Imported here: without a lintsvc.toml nothing needs it.
    from pathspec import GitIgnoreSpec

    return GitIgnoreSpec.from_lines(patterns)
