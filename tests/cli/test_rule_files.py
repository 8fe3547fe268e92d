"""Rule files that people write: new-rule, test-rules, features, and what holds in a folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from parts.command import lintsvc, lintsvc_anew, write_housing

from lintsvc.commands.new_rule import rule_text
from lintsvc.commands.new_rule_parts import PARTS
from lintsvc.rulebook.limit_rules.features import FEATURES, FUNCTIONS, SINGLES


def new_rule(folder: Path, name: str, *arguments: str) -> None:
    ran = lintsvc("new-rule", "lint-rules/our-shop", name, *arguments, cwd=folder)
    assert ran.returncode == 0, ran.stderr


def test_both_commands_do_the_same_started_anew(tmp_path: Path) -> None:
    made = lintsvc_anew("new-rule", "lint-rules/our-shop", "small-hole", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    ran = lintsvc_anew("test-rules", "lint-rules", cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, ""), ran.stdout
    assert ran.stdout == lintsvc("test-rules", "lint-rules", cwd=tmp_path).stdout


@pytest.mark.parametrize("about", PARTS)
def test_new_rule_passes_its_own_test_and_finds_its_fault(tmp_path: Path, about: str) -> None:
    new_rule(tmp_path, f"my-{about}", "--about", about)
    ran = lintsvc("test-rules", "lint-rules", cwd=tmp_path)
    assert ran.returncode == 0, ran.stdout
    assert f"well  our-shop/my-{about}" in ran.stdout
    bad = next((tmp_path / "lint-rules" / "our-shop" / "fixtures" / f"my_{about}").glob("bad_*"))
    checked = lintsvc("check", bad, "--thickness", "2mm", "--format", "json", cwd=tmp_path)
    (part,) = json.loads(checked.stdout)["parts"]
    assert f"our-shop/my-{about}" in [x["rule"] for x in part["findings"]]


def test_new_rule_writes_over_nothing_and_wants_a_plain_name(tmp_path: Path) -> None:
    new_rule(tmp_path, "small-hole")
    for name, words in (("small-hole", "already"), ("Small Hole", "in lower case")):
        ran = lintsvc("new-rule", "lint-rules/our-shop", name, cwd=tmp_path)
        assert ran.returncode == 2
        assert words in ran.stderr


def test_template_has_every_word_that_its_feature_gives() -> None:
    for about, example in PARTS.items():
        feature = next(x for x in FEATURES if x.name == about)
        text = rule_text("a-name", about, example)
        assert all(f"{{{word}}}" in text for word in feature.attributes)


def test_rule_that_no_longer_fits_its_parts_is_told(tmp_path: Path) -> None:
    new_rule(tmp_path, "small-hole")
    path = tmp_path / "lint-rules" / "our-shop" / "small_hole.toml"
    text = path.read_text("utf-8")
    for limit, words in (
        ("2 mm", "nothing fits"),
        ("9 mm", "found beside what is stated"),
        ("mm", "column"),
    ):
        path.write_text(text.replace("3 mm", limit), "utf-8")
        ran = lintsvc("test-rules", "lint-rules", cwd=tmp_path)
        assert ran.returncode == (2 if words == "column" else 1)
        assert words in ran.stdout + ran.stderr


def test_parts_far_from_the_limit_are_told(tmp_path: Path) -> None:
    new_rule(tmp_path, "small-hole")
    fixtures = tmp_path / "lint-rules" / "our-shop" / "fixtures" / "small_hole"
    cases = (fixtures / "cases.toml").read_text("utf-8")
    (fixtures / "cases.toml").write_text(cases.replace("measured = 2.9", "measured = 0.5"), "utf-8")
    bad, good = fixtures / "bad_2.9.dxf", fixtures / "good_3.1.dxf"
    bad.write_text(bad.read_text("ascii").replace("\n1.45\n", "\n0.25\n"), "ascii")
    good.write_text(good.read_text("ascii").replace("\n1.55\n", "\n9\n"), "ascii")
    ran = lintsvc("test-rules", "lint-rules", cwd=tmp_path)
    assert ran.returncode == 1
    assert "no good fixture is just at the limit" in ran.stdout
    assert "no bad fixture is just at the limit" in ran.stdout


def test_rule_without_parts_is_told(tmp_path: Path) -> None:
    new_rule(tmp_path, "small-hole")
    cases = tmp_path / "lint-rules" / "our-shop" / "fixtures" / "small_hole" / "cases.toml"
    cases.write_text(cases.read_text("utf-8").split("[[case]]")[1].join(["[[case]]", ""]), "utf-8")
    ran = lintsvc("test-rules", "lint-rules", cwd=tmp_path)
    assert ran.returncode == 1
    assert "it has no good fixture" in ran.stdout


def test_rule_of_a_repository_is_found_by_itself(tmp_path: Path) -> None:
    new_rule(tmp_path, "solid-through", "--about", "section")
    write_housing(tmp_path / "housing.stl")
    text = lintsvc("check", "housing.stl", "--format", "json", cwd=tmp_path).stdout
    assert "our-shop/solid-through" in json.loads(text)["parts"][0]["checked"]
    page = lintsvc("explain", "solid-through", "--rules", "lint-rules", cwd=tmp_path).stdout
    assert "section.thickness > 15 mm" in page


def test_effective_shows_levels_and_limits_with_the_place_they_are_from(tmp_path: Path) -> None:
    (tmp_path / "lintsvc.toml").write_text(
        '[limits]\n"powder-bed/thin-wall" = "1.1mm"\n[levels]\n"soundness/*" = "note"\n"powder-bed/too-big" = "off"\n',
        "utf-8",
    )
    arguments = ("rules", "--effective", "--process", "powder-bed", "--material", "pa12")
    lines = [" ".join(x.split()) for x in lintsvc(*arguments, cwd=tmp_path).stdout.splitlines()]
    at = lines.index("powder-bed/thin-wall warning powder-bed/thin_wall.py")
    assert lines[at + 1] == "any 1.1 mm shop: the shop's own, lintsvc.toml, line 2"
    assert "powder-bed/too-big off lintsvc.toml, line 5" in lines
    assert "soundness/open-edge note soundness/open_edge.py; level by lintsvc.toml, line 4" in lines
    assert not [x for x in lines if x.startswith("sheet/")]
    # A source of one's own stands beside the place; --changed leaves out what is as it was built in.
    (tmp_path / "lintsvc.toml").write_text('[limits]\n"powder-bed/thin-wall" = { value = "1.1mm", source = "March" }\n')
    lines = [" ".join(x.split()) for x in lintsvc(*arguments, "--changed", cwd=tmp_path).stdout.splitlines()]
    assert lines[1:] == [
        "powder-bed/thin-wall warning powder-bed/thin_wall.py",
        "any 1.1 mm shop: March (lintsvc.toml, line 2)",
    ]


def test_features_lists_everything_that_a_condition_may_say(tmp_path: Path) -> None:
    text = lintsvc_anew("features", cwd=tmp_path).stdout
    for thing in (*FEATURES, *SINGLES):
        assert all(f"{thing.name}.{key}" in text for key in thing.attributes)
    assert all(f"{x}()" in text for x in FUNCTIONS)
