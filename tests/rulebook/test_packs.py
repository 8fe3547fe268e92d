"""Packs load the same way wherever they lie, and say clearly what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.rulebook.packs import built_in_folder, load_pack, load_packs
from lintsvc.rulebook.rule import RuleError

RULE = '''"""A shop's own rule."""

from lintsvc.rulebook import Hit, Limit, Source, rule

SHOP = Source("shop", "The shop's word")


@rule(
    id="shop/heavy",
    process="any",
    kind="any",
    level="warning",
    since="0.1",
    message="It weighs {measured}.",
    remedy="Make it lighter.",
    limits=(Limit("any", 100.0, "g", SHOP),),
    worse="above",
)
def check(part, limit):
    """The part is heavy.

    Measured: its mass.
    Ignore when: somebody strong carries it.
    """
    yield Hit(200.0)
'''


def pack(folder: Path, name: str = "shop", rule: str = RULE, file: str = "heavy.py") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "pack.toml").write_text(f'name = "{name}"\ntitle = "Shop"\nsummary = "The shop\'s own."\n')
    (folder / file).write_text(rule)
    return folder


def test_a_pack_of_ones_own_loads(tmp_path: Path) -> None:
    loaded = load_pack(pack(tmp_path / "any-name"))
    assert [x.id for x in loaded.rules] == ["shop/heavy"]
    assert loaded.rules[0].title == "The part is heavy."
    assert loaded.rules[0].measured_how == "its mass."


def test_a_folder_of_packs_loads(tmp_path: Path) -> None:
    pack(tmp_path / "rules" / "shop")
    assert [x.name for x in load_packs([tmp_path / "rules"], built_in=False, installed=False)] == ["shop"]


def test_two_rules_with_one_id_are_refused_loudly(tmp_path: Path) -> None:
    one, two = pack(tmp_path / "one"), pack(tmp_path / "two")
    with pytest.raises(RuleError, match="two rules are called 'shop/heavy'") as error:
        load_packs([one, two], built_in=False, installed=False)
    assert str(one) in str(error.value)
    assert str(two) in str(error.value)


def test_a_folder_named_twice_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = pack(tmp_path / "one")
    monkeypatch.chdir(tmp_path)
    assert len(load_packs([one, Path("one")], built_in=False, installed=False)) == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("shop/heavy", "shop/other"), "by its file it must be 'shop/heavy'"),
        (("Measured: its mass.", ""), "needs a first line"),
        (('"warning"', '"error"', '"shop", ', '"memory", '), "warning at most"),
        (("(part, limit)", "(part, weather)"), "not .'weather'."),
        (("from lintsvc.rulebook import Hit", "from lintsvc.rulebook import Hat"), "cannot be loaded"),
        (('id="shop/heavy"', 'id="Shop/Heavy"'), "lower case"),
    ],
)
def test_a_wrong_rule_file_says_what_is_wrong(tmp_path: Path, change: tuple[str, ...], says: str) -> None:
    text = RULE
    for old, new in zip(change[::2], change[1::2], strict=True):
        assert old in text
        text = text.replace(old, new)
    with pytest.raises(RuleError, match=says) as error:
        load_pack(pack(tmp_path / "shop", rule=text))
    assert "heavy.py" in str(error.value)


def test_a_folder_without_packs_says_so(tmp_path: Path) -> None:
    with pytest.raises(RuleError, match="no rule pack here"):
        load_packs([tmp_path], built_in=False, installed=False)


def test_a_broken_manifest_names_the_missing_key(tmp_path: Path) -> None:
    folder = pack(tmp_path / "shop")
    (folder / "pack.toml").write_text('name = "shop"\n')
    with pytest.raises(RuleError, match="'title' is missing"):
        load_pack(folder)


def test_the_built_in_packs_are_found() -> None:
    assert (built_in_folder() / "soundness" / "pack.toml").is_file()
