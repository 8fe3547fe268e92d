"""The rule API keeps what it promised: version 1 as it was first given out stands in `rule_api_1.txt`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lintsvc.rulebook.api import surface
from lintsvc.rulebook.packs import API_VERSIONS, load_pack
from lintsvc.rulebook.rule import RuleError

RECORDED = (Path(__file__).parent / "rule_api_1.txt").read_text("utf-8").splitlines()


def taken_apart(line: str) -> tuple[str, list[str], list[str]]:
    """Return name, arguments and fields of a line."""
    found = re.fullmatch(r"(.+?)\((.*?)\)(?: \{(.*)\})?", line)
    assert found is not None, line
    return found[1], *([x for x in (y or "").split(", ") if x] for y in (found[2], found[3]))


def broken(recorded: str, now: list[str]) -> str:
    """Return what of a recorded promise no longer holds."""
    name, arguments, fields = taken_apart(recorded)
    match = next((x for x in map(taken_apart, now) if x[0] == name), None)
    if match is None:
        return f"{name} is gone"
    if match[1][: len(arguments)] != arguments:
        return f"{name} takes {match[1]}, promised were {arguments}"
    return f"{name} lost {set(fields) - set(match[2])}" if set(fields) - set(match[2]) else ""


def test_everything_that_version_1_promised_is_there() -> None:
    now = [x.line() for x in surface()]
    assert [y for x in RECORDED if (y := broken(x, now))] == []
    assert API_VERSIONS[0] == 1


@pytest.mark.parametrize(
    ("recorded", "now", "words"),
    [
        ("Hit() {measured, where}", "Hit() {measured}", "lost {'where'}"),
        ("f(a, b)", "f(b, a)", "takes"),
        ("f(a)", "f(a, b)", ""),
        ("f(a)", "g(a)", "is gone"),
        ("Hit() {measured}", "Hit() {where, measured}", ""),
    ],
)
def test_a_broken_promise_is_noticed(recorded: str, now: str, words: str) -> None:
    found = broken(recorded, [now])
    assert words in found if words else not found


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("api = 2", "line 4: the pack is written for version 2 of the rule API; this lintsvc has 1"),
        ('api = "1"', "version '1'"),
        ("api = true", "version True"),
        ("apl = 1", "line 4: there is no key 'apl' here; did you mean 'api'?"),
        ("colour = 1", "it may be name, title, summary, api, limits, levels"),
    ],
)
def test_pack_for_another_version_or_with_an_unknown_key_is_refused_with_the_line(
    tmp_path: Path, line: str, words: str
) -> None:
    (tmp_path / "pack.toml").write_text(f'name = "shop"\ntitle = "Shop"\nsummary = "Ours."\n{line}\n')
    with pytest.raises(RuleError, match=re.escape(words)):
        load_pack(tmp_path)


def test_pack_may_say_its_version(tmp_path: Path) -> None:
    (tmp_path / "pack.toml").write_text('name = "shop"\ntitle = "Shop"\nsummary = "Ours."\napi = 1\n')
    assert load_pack(tmp_path).name == "shop"
