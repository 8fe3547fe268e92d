"""From the paths on the command line to the files to check."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Found:
    """A file to check. `name` is how the report calls it: the path as it was given, valid text, with `/`."""

    path: Path
    name: str
    #: Named itself, not found in a named folder.
    named: bool


def find_files(paths: Iterable[Path]) -> Iterator[Found]:
    """Yield each file once: files as named, and in folders those with an extension that a reader knows.

    Hidden files and folders below a named folder are passed over. Links to folders are not followed.
    A path that is nothing that can be read is yielded too: the report says what is wrong with it.
    """
    seen: set[str] = set()
    for path in paths:
        folder = path.is_dir()
        for file in _below(path) if folder else (path,):
            real = os.path.realpath(file)
            if real not in seen:
                seen.add(real)
                yield Found(file, _name(file), not folder)


def _below(folder: Path) -> Iterator[Path]:
    from lintsvc.readers.read import formats

    extensions = tuple(x for known in formats() for x in known.extensions)
    for root, folders, files in os.walk(folder):
        folders[:] = sorted(x for x in folders if not x.startswith("."))
        for name in sorted(files):
            if name.lower().endswith(extensions) and not name.startswith("."):
                yield Path(root, name)


def _name(path: Path) -> str:
    # A name that is no valid text (bytes of another encoding) must not break a report further on.
    return os.fsencode(path.as_posix()).decode("utf-8", "backslashreplace")
