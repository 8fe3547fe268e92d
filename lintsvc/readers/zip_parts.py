"""The package around a 3MF: a ZIP whose names, sizes and flags are believed only after a look."""

from __future__ import annotations

import posixpath
import stat
import zipfile
import zlib
from pathlib import Path
from urllib.parse import unquote

from lintsvc.model.part import Unreadable

_MAX_ENTRIES = 4096
#: All parts of the package that are read, unpacked.
MAX_UNPACKED_BYTES = 160 * 2**20
#: XML of meshes packs about ten to one; far more than that is a bomb.
_MAX_RATIO = 250
_RATIO_FROM_BYTES = 4 * 2**20
_AGAIN = "Export or download it again."


def damaged_zip(what: str) -> Unreadable:
    """The error for a package that cannot be unpacked."""
    return Unreadable(f"The 3MF package is damaged: {what}.", remedy=_AGAIN)


class Package:
    """An open package. Nothing is ever unpacked to disk."""

    def __init__(self, path: Path) -> None:
        try:
            self._zip = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError, UnicodeError) as error:
            raise damaged_zip("its directory cannot be read; it is perhaps cut off") from error
        entries = self._zip.infolist()
        if len(entries) > _MAX_ENTRIES:
            self.close()
            raise Unreadable(f"The package has {len(entries):,} entries; the limit is {_MAX_ENTRIES:,}.")
        self._entries: dict[str, zipfile.ZipInfo] = {}
        self._twice: set[str] = set()
        #: Names that would climb out of a folder. They are only counted.
        self.climbing = 0
        self._left = MAX_UNPACKED_BYTES
        for entry in entries:
            name = entry.filename
            if name.startswith(("/", "\\")) or "\\" in name or ".." in name.split("/"):
                self.climbing += 1
                continue
            # Names of parts compare without regard to case (ISO/IEC 29500-2 section 6.2.2.3).
            key = name.lower()
            if key in self._entries:
                self._twice.add(key)
            self._entries[key] = entry

    def close(self) -> None:
        self._zip.close()

    def has(self, name: str) -> bool:
        """True where the package holds a part of this name, given from its root."""
        return name.lstrip("/").lower() in self._entries

    def names(self) -> list[str]:
        """Names of all entries that stay inside."""
        return [entry.filename for entry in self._entries.values()]

    def read(self, name: str) -> bytes:
        """Return a part, unpacked. Raises Unreadable: absent, encrypted, a link, doubled, too large, a wrong sum."""
        key = name.lstrip("/").lower()
        entry = self._entries.get(key)
        shown = name[-60:]
        if entry is None:
            raise Unreadable(f'The 3MF package names "{shown}", which is not in it.', remedy=_AGAIN)
        if key in self._twice:
            raise Unreadable(f'The 3MF package holds two parts called "{shown}".', remedy=_AGAIN)
        if entry.flag_bits & 0x1:
            raise Unreadable("The 3MF package is encrypted.", remedy="Export it without a password.")
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise Unreadable(f'"{shown}" in the 3MF package is a link to another file, which is not followed.')
        packed = max(1, entry.compress_size)
        if entry.file_size > self._left or (
            entry.file_size > _RATIO_FROM_BYTES and entry.file_size > _MAX_RATIO * packed
        ):
            raise Unreadable(
                f'"{shown}" unpacks to {entry.file_size / 2**20:.0f} MiB: too large, or packed to do harm.',
                remedy="Export it with a coarser tolerance.",
            )
        try:
            with self._zip.open(entry) as file:
                data = file.read(entry.file_size + 1)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
            raise damaged_zip(f'the sum or the data of "{shown}" is wrong') from error
        except (NotImplementedError, RuntimeError) as error:
            raise damaged_zip(f'"{shown}" is packed in a way that is not read') from error
        if len(data) != entry.file_size:
            raise damaged_zip(f'"{shown}" has another size than its directory says')
        self._left -= len(data)
        return data


def part_name(target: str, base: str) -> str | None:
    """Return a relationship's target as a part name from the root; None when it leaves the package."""
    target = unquote(target)
    if "\\" in target or ":" in target.partition("/")[0] or "\0" in target:
        return None
    joined = target if target.startswith("/") else posixpath.join(posixpath.dirname(base), target)
    steps: list[str] = []
    for step in joined.split("/"):
        if step == "..":
            if not steps:
                return None
            steps.pop()
        elif step not in ("", "."):
            steps.append(step)
    return "/" + "/".join(steps)
