"""Conditions that were read before come from a file in the user's cache, and mean what they meant."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.rulebook.limit_rules import kept, trees
from lintsvc.rulebook.limit_rules.expression import parse
from lintsvc.rulebook.limit_rules.features import FUNCTIONS, names

CONDITION = "hole.diameter < max(3 mm, 1.2 * sheet.thickness) and not material.family == 'wood'"


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A cache of this test's own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    kept._known.cache_clear()
    kept._fresh.clear()
    yield tmp_path / "lintsvc" / "limit-rules.json"
    kept._known.cache_clear()
    kept._fresh.clear()


def forget() -> None:
    kept._known.cache_clear()


def test_kept_condition_is_the_same_tree_with_the_same_columns(cache: Path) -> None:
    first = trees.tree_of(CONDITION)
    kept.keep()
    assert cache.is_file()
    forget()
    again = trees.tree_of(CONDITION)
    assert again == first
    assert trees._written(again) == trees._written(first)
    assert parse(CONDITION, names(), FUNCTIONS).text == "hole.diameter < max(3 mm, 1.2 * sheet.thickness) and " \
        "not material.family == 'wood'"  # fmt: skip


@pytest.mark.parametrize(
    "damage",
    [
        "",
        "{",
        "[]",
        '{"grammar": "another", "trees": {}}',
        '{"grammar": GRAMMAR, "trees": {CONDITION: 3}, "files": {}}',
        '{"grammar": GRAMMAR, "trees": {CONDITION: ["comparison"]}, "files": {}}',
        '{"grammar": GRAMMAR, "trees": {CONDITION: ["word", "x"]}, "files": {}}',
    ],
)
def test_damaged_cache_is_as_if_it_were_not_there(cache: Path, damage: str) -> None:
    first = trees.tree_of(CONDITION)
    cache.parent.mkdir(parents=True, exist_ok=True)
    text = damage.replace("GRAMMAR", json.dumps(kept.grammar_hash())).replace("CONDITION", json.dumps(CONDITION))
    cache.write_text(text)
    forget()
    assert trees.tree_of(CONDITION) == first


def test_cache_that_cannot_be_written_is_no_failure(cache: Path) -> None:
    cache.parent.mkdir(parents=True)
    cache.mkdir()
    trees.tree_of(CONDITION)
    kept.keep()


def test_parser_is_not_even_loaded_for_what_is_known(cache: Path) -> None:
    trees.tree_of(CONDITION)
    kept.keep()
    code = (
        "import sys; from lintsvc.rulebook.limit_rules import trees; "
        f"trees.tree_of({CONDITION!r}); assert 'lark' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], env=os.environ, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@given(st.text("ab.<>=() 0123mm*'\"", max_size=12))
def test_any_text_is_a_tree_or_is_refused_with_a_column(text: str) -> None:
    try:
        tree = trees.tree_of(text)
    except trees.NoCondition as error:
        assert 1 <= error.column <= len(text) + 1
    else:
        assert trees._read(json.loads(json.dumps(trees._written(tree)))) == tree


def test_toml_that_was_read_before_is_the_same(cache: Path) -> None:
    text = 'title = "T"\nlimits = [1, 2.5]\n[source]\nkind = "memory"\n'
    first = kept.read_toml(text)
    kept.keep()
    forget()
    assert kept.read_toml(text) == first == {"title": "T", "limits": [1, 2.5], "source": {"kind": "memory"}}
    # What JSON cannot say is read each time, and is right each time.
    dated = "until = 2027-01-31\n"
    assert kept.read_toml(dated) == kept.read_toml(dated)
