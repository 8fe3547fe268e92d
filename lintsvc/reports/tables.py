"""Tables and plain words in Markdown and in text."""

from __future__ import annotations

import re
from collections.abc import Sequence


def markdown_table(rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table; the first row is its head. Cells are plain text."""
    return raw_markdown_table([[markdown_text(x) for x in row] for row in rows])


def raw_markdown_table(rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table of cells that are Markdown already."""
    lines = ["| " + " | ".join(x.replace("|", r"\|") for x in row) + " |" for row in rows]
    return "\n".join([lines[0], "|" + " --- |" * len(rows[0]), *lines[1:]])


def markdown_text(text: str) -> str:
    """Keep Markdown from reading signs in plain text: `<`, `*`, back ticks, `_` at the edge of a word."""
    return re.sub(r"([\\`*<>\[\]]|(?<!\w)_|_(?!\w))", r"\\\1", text)


def text_table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the lines of a table in columns of equal width; the last column runs free."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) - 1)]
    return [
        "  ".join([*(x.ljust(width) for x, width in zip(row, widths, strict=False)), row[-1]]).rstrip() for row in rows
    ]
