"""Reading the handbook's CSV tables."""

from __future__ import annotations

import csv
from importlib.resources import files


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table in this folder, by column name. An empty cell is an empty text."""
    text = (files(__package__) / name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))
