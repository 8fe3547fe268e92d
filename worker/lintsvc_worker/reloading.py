"""Watching the service's rule folders: when a file in them changes, the rules are read anew while checks go on."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterable
from pathlib import Path

from lintsvc_worker.catalogue_run import store_catalogue
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.zygote_client import CannotWarmUp

log = logging.getLogger(__name__)

#: The folders are looked at this often. Somebody who saves several files is waited for until nothing changes between
#: two looks.
LOOK_SECONDS = 1.0
_RULE_FILES = frozenset({".py", ".toml"})

State = frozenset[tuple[str, int, int]]


def state_of(folders: Iterable[Path]) -> State:
    """Return what tells whether a rule file was changed: names, times and sizes. Fixtures do not count."""
    found = set()
    for folder in folders:
        for path in folder.rglob("*"):
            if path.suffix in _RULE_FILES and "fixtures" not in path.parts:
                try:
                    stat = path.stat()
                except OSError:
                    continue  # gone in this moment: seen at the next look
                found.add((str(path), stat.st_mtime_ns, stat.st_size))
    return frozenset(found)


class Watcher(threading.Thread):
    """Looks at the folders, and renews the warm process when they have changed and are at rest again."""

    def __init__(self, context: Context, look_seconds: float = LOOK_SECONDS) -> None:
        super().__init__(name="rules-watcher", daemon=True)
        self._context = context
        self._folders = context.settings.rule_folders
        self._look_seconds = look_seconds
        self._loaded = self._seen = state_of(self._folders)

    def run(self) -> None:
        """Look until the worker stops."""
        while not self._context.stopping.wait(self._look_seconds):
            try:
                self.look()
            except Exception:  # the border of the thread: whatever goes wrong, the next look may fare better
                log.exception("the rule folders could not be looked at")

    def look(self) -> None:
        """Look once."""
        now = state_of(self._folders)
        at_rest, self._seen = now == self._seen, now
        if not at_rest or now == self._loaded:
            return
        # Also when it fails: it is tried again when something changes, not all the time.
        self._loaded = now
        log.info("rule files have changed and are read anew")
        try:
            self._context.zygote.renew()
        except CannotWarmUp as error:
            log.error("the changed rules are not used: %s", error)
            return
        again_and_again(self._context, lambda: store_catalogue(self._context))
