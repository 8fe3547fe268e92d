"""What the watcher of rule folders takes for a change, and that packs that cannot be loaded are left out one by one."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from lintsvc_worker.reloading import Watcher, state_of
from lintsvc_worker.zygote_client import CannotWarmUp

from lintsvc.rulebook.packs import load_working_packs
from lintsvc.settings import Settings

PACK = 'name = "{name}"\ntitle = "Shop"\nsummary = "Our own."\n'


def write_pack(folder: Path, name: str, more: str = "") -> Path:
    (folder / name).mkdir(parents=True, exist_ok=True)
    (folder / name / "pack.toml").write_text(PACK.format(name=name) + more)
    return folder / name


class Context:
    """What the watcher needs of a worker."""

    def __init__(self, folder: Path) -> None:
        self.settings = Settings(rules=str(folder))
        self.zygote = self
        self.renewed = 0
        self.fails = False

    def renew(self) -> None:
        self.renewed += 1
        if self.fails:
            raise CannotWarmUp("the warm process ended while it was loading")


def test_watcher_waits_for_rest_and_renews_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stored: list[Any] = []
    monkeypatch.setattr("lintsvc_worker.reloading.store_catalogue", stored.append)
    pack = write_pack(tmp_path, "shop")
    context: Any = Context(tmp_path)
    watcher = Watcher(context)
    watcher.look()
    assert context.renewed == 0
    (pack / "rule.toml").write_text("a")
    watcher.look()
    (pack / "rule.toml").write_text("ab")
    watcher.look()
    assert context.renewed == 0, "it was still changing"
    watcher.look()
    watcher.look()
    assert (context.renewed, stored) == (1, [context])
    # When that fails the old rules stay, and it is not tried again until something changes.
    context.fails = True
    (pack / "rule.toml").unlink()
    for _ in range(4):
        watcher.look()
    assert (context.renewed, len(stored)) == (2, 1)


def test_only_rule_files_count_as_a_change(tmp_path: Path) -> None:
    pack = write_pack(tmp_path, "shop")
    before = state_of([tmp_path])
    (pack / "notes.txt").write_text("x")
    (pack / "fixtures").mkdir()
    (pack / "fixtures" / "cases.toml").write_text("x")
    assert state_of([tmp_path]) == before
    os.utime(pack / "pack.toml", ns=(1, 1))
    assert state_of([tmp_path]) != before
    assert state_of([tmp_path / "nothing"]) == frozenset()


def test_packs_that_cannot_be_loaded_are_left_out_one_by_one(tmp_path: Path) -> None:
    write_pack(tmp_path, "good", '[levels]\n"sheet/*" = "note"\n')
    (write_pack(tmp_path, "raises") / "rule.py").write_text("1 / 0")
    write_pack(tmp_path, "changes-nothing", '[levels]\n"raises/rule" = "off"\n')
    packs, broken = load_working_packs([tmp_path, tmp_path / "nowhere"])
    assert "good" in {x.name for x in packs}
    assert {x.name for x in broken} == {"raises", "changes-nothing", "nowhere"}
    why = {x.name: x.why for x in broken}
    assert "ZeroDivisionError" in why["raises"]
    assert "there is no rule 'raises/rule'" in why["changes-nothing"]
    assert all(str(tmp_path) not in x for x in why.values())


def test_second_of_two_packs_with_one_name_of_a_rule_is_left_out(tmp_path: Path) -> None:
    rule = (
        'title = "T."\nfaulty_when = "hole.diameter < 3 mm"\nmessage = "m"\nremedy = "r"\nignore_when = "i"\n'
        'source = "s"\nlevel = "note"\nsince = "1"\n'
    )
    for place in ("one", "two"):
        (write_pack(tmp_path / place, "shop") / "twin.toml").write_text(rule)
    packs, broken = load_working_packs([tmp_path / "one", tmp_path / "two"])
    assert [x.folder for x in packs if x.name == "shop"] == [tmp_path / "one" / "shop"]
    assert [x.folder for x in broken] == [tmp_path / "two" / "shop"]
    assert "two rules are called 'shop/twin'" in broken[0].why
