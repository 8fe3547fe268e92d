"""Lines of keys: of every table and list entry, however it is written, held against the standard reader's keys."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

from lintsvc.model.toml_lines import key_lines, line_of

TEXT = """\
# a comment with [brackets] and a = 1
title = "a # b"          # c
'quoted key' = 1
a.b.c = [ 1, [2,
  3], "x, ]" ]
[table]
text = '''
[no-table]
no_key = 1
'''
more = { x = 1, y = { z = [ { q = 1 },
   { q = 2 } ] } }
[[list]]
k = 1
[[list]]
[list.sub]
k = "\\"]"
[[list.deep]]
k = 1979-05-27
[[list.deep]]
k = -1.5e3
"""


def paths(value: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*at, key)
        yield from paths(inner, (*at, key))


def test_every_key_and_entry_has_its_line() -> None:
    lines = key_lines(TEXT)
    every = set(paths(tomllib.loads(TEXT)))
    # The list itself stands nowhere, only its entries.
    assert every - set(lines) == {("list",), ("list", 1, "deep")}
    assert set(lines) <= every
    assert lines["a", "b", "c", 1, 1] == 5
    assert lines["a", "b", "c", 2] == 5
    assert lines["table", "more", "y", "z", 1, "q"] == 12
    assert lines["list", 1, "sub", "k"] == 17
    assert lines["list", 1, "deep", 1] == 20
    assert line_of(("table", "more", "nothing"), lines) == 11


def test_texts_that_are_no_toml_come_to_an_end() -> None:
    for text in (
        "a = [",
        "a = {",
        "a = [1 2",
        "a = { b",
        'a = "',
        "a = [}",
        "a = {]",
        "= 1",
        "[[",
        "a = [,,]",
        "a = '''",
    ):
        assert isinstance(key_lines(text * 2), dict)


def test_many_entries_are_read_once() -> None:
    many = 20_000
    lines = key_lines("a = [\n" + "{ b = 1 },\n" * many + "]\n")
    assert lines["a", many - 1] == many + 1
    assert len(lines) == 2 * many + 1
