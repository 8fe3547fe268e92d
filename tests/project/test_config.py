"""`lintsvc.toml`: what it says of a file, which of several wins, and what is refused with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.project.config import ConfigError, parse_config, read_config
from lintsvc.project.project import Held, Project

MAST = """
exclude = ["archive/"]
fail_on = "warning"

[[parts]]
files = ["*.dxf"]
material = "aluminium-5052-h32"
thickness = "2.5mm"

[[parts]]
files = "plates/*.dxf"
thickness = "0.125in"

[levels]
"soundness/*" = "note"
"""


def write(folder: Path, text: str, name: str = "lintsvc.toml") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def held(working: Path, file: str) -> Held:
    return Project(working).held(working / file)


def test_entry_gives_its_choices_to_the_files_that_it_names(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    assert dict(held(tmp_path, "brackets/mast.dxf").words) == {"material": "aluminium-5052-h32", "thickness": "2.5mm"}
    assert held(tmp_path, "brackets/mast.dxf").covered
    assert not held(tmp_path, "housing.stl").covered
    assert held(tmp_path, "housing.stl").mapped


def test_later_entry_wins_key_by_key(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    assert dict(held(tmp_path, "plates/base.dxf").words) == {
        "material": "aluminium-5052-h32",
        "thickness": "0.125in",
    }


def test_file_further_in_wins_and_adds(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    inner = '[[parts]]\nfiles = "*.dxf"\nmaterial = "steel-mild"\n[levels]\n"sheet/*" = "off"\n'
    write(tmp_path / "brackets" / "inner", inner)
    found = held(tmp_path, "brackets/inner/a.dxf")
    assert dict(found.words) == {"material": "steel-mild", "thickness": "2.5mm"}
    assert [x.rule for x in found.adjustments.levels] == ["soundness/*", "sheet/*"]


def test_excluded_folder_is_excluded_with_all_in_it(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    assert held(tmp_path, "archive/old/a.dxf").excluded
    assert not held(tmp_path, "brackets/a.dxf").excluded


def test_without_a_file_nothing_is_said(tmp_path: Path) -> None:
    assert held(tmp_path, "a.dxf") == Held()


def test_top_of_the_repository_is_as_far_out_as_it_looks(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    (tmp_path / "repository" / ".git").mkdir(parents=True)
    assert not held(tmp_path / "repository", "a.dxf").mapped
    # From a folder inside, the repository's own file holds.
    write(tmp_path / "repository", '[[parts]]\nfiles = "*.dxf"\nunits = "in"\n')
    (tmp_path / "repository" / "deep").mkdir()
    assert dict(held(tmp_path / "repository" / "deep", "a.dxf").words) == {"units": "in"}


def test_file_of_a_stranger_outside_the_working_folder_says_nothing(tmp_path: Path) -> None:
    write(tmp_path, MAST)
    (tmp_path / "work").mkdir()
    assert not held(tmp_path / "work", "a.dxf").mapped


def test_lists_of_bends_are_choices_too(tmp_path: Path) -> None:
    text = '[[parts]]\nfiles = "*.dxf"\nbends = [{start = [0.0, 5.0], end = [40.0, 5.0], angle_deg = 90.0}]\n'
    config = parse_config(text, tmp_path / "lintsvc.toml")
    assert '"angle_deg": 90.0' in config.entries[0].words["bends"]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('fail_on = "fatal"', 1, "error, warning, note, never"),
        ('\nfail-on = "error"', 2, "did you mean 'fail_on'?"),
        ("[[parts]]\nfiles = 3", 1, 'files = ["brackets/*.dxf"]'),
        ('[[parts]]\nfiles = "*"\nthicknes = "2mm"', 3, "did you mean 'thickness'?"),
        ('[[parts]]\nfiles = "*"\nthickness = "two"', 3, "2mm or 0.08in"),
        ('[[parts]]\nfiles = "*"\n[[parts]]\nfiles = "*"\nprocess = "milling"', 5, "powder-bed, sheet"),
        ('[parts]\nfiles = "*"', 1, "[[parts]]"),
        ('packs = "lint-rules"', 1, "a list of texts"),
        ('[levels]\n"a/b" = "high"', 2, "or off"),
        ('[limits]\n"a/b" = true', 2, "neither a text nor a number"),
        ("set_aside = 1", 1, "name of a file"),
    ],
)
def test_mistake_is_named_with_its_line_and_the_valid_words(tmp_path: Path, text: str, line: int, words: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(ConfigError) as caught:
        read_config(path)
    assert str(caught.value).startswith(f"{path}, line {line}: ")
    assert words in str(caught.value)


def test_what_is_no_toml_and_no_text_is_refused_by_name(tmp_path: Path) -> None:
    for data in (b"[[parts", b"\xff\xfe"):
        path = tmp_path / "lintsvc.toml"
        path.write_bytes(data)
        with pytest.raises(ConfigError, match=r"lintsvc\.toml"):
            read_config(path)


def test_limits_of_a_shop_toml_hold_and_name_it_and_what_stands_beside_the_parts_wins(tmp_path: Path) -> None:
    write(tmp_path, '[limits]\n"powder-bed/thin-wall" = "0.9mm"\n"sheet/web-too-thin" = "2mm"\n', "shop.toml")
    config = read_config(write(tmp_path, 'shop = "shop.toml"\n[limits]\n"powder-bed/thin-wall" = "1.1mm"\n'))
    changes = [(x.rule, x.text, x.source.text) for x in config.adjustments.limits]
    assert changes[0] == ("powder-bed/thin-wall", "0.9mm", "the shop's own, shop.toml, line 2")
    # The later of two for one rule holds.
    assert changes[-1][:2] == ("powder-bed/thin-wall", "1.1mm")
    assert len(changes) == 3


@pytest.mark.parametrize(
    ("shop", "said"),
    [('"other.toml"', "other.toml: cannot be opened"), ("3", "line 1: shop is the name of a file")],
)
def test_shop_toml_that_is_none_is_told(tmp_path: Path, shop: str, said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        read_config(write(tmp_path, f"shop = {shop}\n"))
