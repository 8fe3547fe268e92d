"""Which word was probably meant by one that nobody knows."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def meant(word: str, words: Iterable[str]) -> str:
    """Return a hint: the word that comes nearest, else all there are; nothing where there are none.

    >>> meant("fornat", ["format", "output"]), meant("x", ["format", "output"])
    ("did you mean 'format'?", 'it may be format, output')
    """
    every = list(words)
    close = difflib.get_close_matches(word, every, 1)
    if close:
        return f"did you mean {close[0]!r}?"
    return f"it may be {', '.join(every)}" if every else ""
