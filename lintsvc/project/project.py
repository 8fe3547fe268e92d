"""Which `lintsvc.toml` files hold for a part file, and what they say of it together."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from lintsvc.project.config import NAME, Config, read_config
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments


@dataclass(frozen=True, slots=True)
class Held:
    """What holds for one file."""

    #: Choices in the command's words.
    words: tuple[tuple[str, str], ...] = ()
    adjustments: Adjustments = NO_ADJUSTMENTS
    #: Some entry names the file.
    covered: bool = False
    excluded: bool = False
    #: There is a lintsvc.toml with entries for this file to be named in.
    mapped: bool = False


class Project:
    """Finds and reads each `lintsvc.toml` once.

    A file is looked for from the part's folder outward, to the top of its repository (the folder with
    `.git`); outside of a repository to the working folder, and never further: a file that a stranger
    left further out says nothing.
    """

    def __init__(self, working: Path) -> None:
        self.working = working.resolve()
        self._in: dict[Path, Config | None] = {}
        self._for: dict[Path, tuple[Config, ...]] = {}

    def configs(self, folder: Path) -> tuple[Config, ...]:
        """Return the files that hold in a folder, the outermost first. Raises ConfigError."""
        folder = folder.resolve()
        if folder not in self._for:
            found = [x for x in (self._config(each) for each in self._outward(folder)) if x is not None]
            self._for[folder] = tuple(reversed(found))
        return self._for[folder]

    def held(self, file: Path) -> Held:
        """Return what holds for a file. Raises ConfigError."""
        file = file.parent.resolve() / file.name
        words: dict[str, str] = {}
        adjustments = NO_ADJUSTMENTS
        covered = excluded = mapped = False
        for config in self.configs(file.parent):
            relative = file.relative_to(config.folder.resolve()).as_posix()
            excluded = excluded or config.excludes(relative)
            mapped = mapped or bool(config.entries)
            adjustments = adjustments.then(config.adjustments)
            for entry in config.entries:
                if entry.covers(relative):
                    covered = True
                    words |= entry.words
        return Held(tuple(words.items()), adjustments, covered, excluded, mapped)

    def _config(self, folder: Path) -> Config | None:
        if folder not in self._in:
            path = folder / NAME
            # Named from the working folder: reports must not tell where on a machine they were made.
            shown = os.path.relpath(path, self.working)
            self._in[folder] = read_config(path, shown) if path.is_file() else None
        return self._in[folder]

    def _outward(self, folder: Path) -> list[Path]:
        outward = [folder, *folder.parents]
        for number, each in enumerate(outward):
            if (each / ".git").exists():
                return outward[: number + 1]
        if folder.is_relative_to(self.working):
            return outward[: outward.index(self.working) + 1]
        return [folder]
