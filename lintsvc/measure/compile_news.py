"""Tells whoever waits that a kernel is being compiled: work of once, which no time limit of a check should count.

Without numba, so that a process can listen before anything needs numba.
"""

from __future__ import annotations

from collections.abc import Callable

#: Called with True when compiling begins and with False when it ends.
listeners: list[Callable[[bool], None]] = []
_depth = 0


def tell(begins: bool) -> None:
    """Pass on the outermost begin and end: one kernel compiles others inside it."""
    global _depth
    if begins:
        _depth += 1
    if _depth == 1:
        for listener in listeners:
            listener(begins)
    if not begins:
        _depth = max(0, _depth - 1)
