"""Results by content: a file that was checked before, under the same rules and choices, is not checked again."""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import choices_to_dict
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.json_report import dumps, from_dict
from lintsvc.rulebook.adjust import Adjustments

#: What was not asked for in so long is thrown away.
_KEEP_DAYS = 30
_PRUNED = "pruned"


def cache_folder() -> Path:
    """Return where results are kept: the user's cache folder (XDG base directory specification)."""
    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "lintsvc" / "checks"


class Cache:
    """A folder of results, one JSON file each. A folder that cannot be used is a cache that knows nothing."""

    def __init__(self, folder: Path, version: str) -> None:
        self.folder = folder
        self.version = version

    def key(self, sha256: str, choices: Choices, adjustments: Adjustments) -> str:
        """Return the key of a result: whatever changes the result changes the key."""
        parts = [self.version, sha256, json.dumps(choices_to_dict(choices), sort_keys=True), repr(adjustments)]
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()

    def find(self, key: str, name: str) -> PartReport | None:
        """Return what is known, under the file's present name; None where nothing is."""
        path = self._path(key)
        try:
            (part,) = from_dict(json.loads(path.read_text("utf-8"))).parts
        except (OSError, ValueError):
            # Not there, or damaged: then it is as if it were not there.
            return None
        with suppress(OSError):
            os.utime(path)
        return replace(part, file=name)

    def keep(self, key: str, part: PartReport) -> None:
        """Keep a result, unless a rule failed: that may go better the next time."""
        if any(x.failed for x in part.not_checked):
            return
        path = self._path(key)
        with suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            # Written beside and renamed: another process never reads half a result.
            beside = path.with_suffix(f".{os.getpid()}")
            beside.write_text(dumps(Report((part,)), indent=None), "utf-8")
            beside.replace(path)

    def find_bytes(self, key: str) -> bytes | None:
        """Return what else is kept of a result; None where nothing is."""
        path = self._path(key).with_suffix(".bin")
        try:
            data = path.read_bytes()
        except OSError:
            return None
        with suppress(OSError):
            os.utime(path)
        return data

    def keep_bytes(self, key: str, data: bytes) -> None:
        """Keep something else of a result beside it."""
        path = self._path(key).with_suffix(".bin")
        with suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            beside = path.with_suffix(f".{os.getpid()}b")
            beside.write_bytes(data)
            beside.replace(path)

    def prune(self) -> None:
        """Throw away what was not asked for in a month. Looks once a day."""
        mark = self.folder / _PRUNED
        now = time.time()
        with suppress(OSError):
            if mark.exists() and now - mark.stat().st_mtime < 86_400:
                return
            self.folder.mkdir(parents=True, exist_ok=True)
            mark.touch()
            for path in _old(self.folder.glob("??/*"), now - _KEEP_DAYS * 86_400):
                path.unlink()

    def _path(self, key: str) -> Path:
        return self.folder / key[:2] / f"{key[2:]}.json"


def _old(paths: Iterable[Path], before: float) -> list[Path]:
    return [x for x in paths if x.stat().st_mtime < before]
