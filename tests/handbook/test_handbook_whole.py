"""The handbook as a whole: no key without a source, no source without a use."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lintsvc.handbook import sources

FOLDER = Path(sources.__file__).parent


def test_every_named_source_is_used_and_every_used_one_is_there() -> None:
    there = set(sources._named())
    text = "".join(x.read_text("utf-8") for x in sorted(FOLDER.iterdir()) if x.suffix in (".py", ".csv"))
    used = {key for key in there if re.search(rf"(?<![\w.-]){re.escape(key)}(?![\w.-])", text)}
    assert there - used == set()


def test_a_source_that_is_not_there_is_an_error() -> None:
    with pytest.raises(KeyError):
        sources.named("hearsay")
