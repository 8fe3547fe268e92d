"""Results of long calculations, kept from one run to the next."""

from __future__ import annotations

from typing import Protocol


class Kept(Protocol):
    """Where results of long calculations are kept from one run to the next, by a key of all that they depend on."""

    def find(self, key: str) -> bytes | None: ...
    def keep(self, key: str, data: bytes) -> None: ...


class _NothingKept:
    def find(self, key: str) -> bytes | None:
        return None

    def keep(self, key: str, data: bytes) -> None:
        pass


NOTHING_KEPT: Kept = _NothingKept()
