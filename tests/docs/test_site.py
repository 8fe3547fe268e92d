"""The site of `make docs`: every rule with its pictures, links that lead somewhere, nothing fetched from elsewhere."""

from __future__ import annotations

import re
from pathlib import Path
from types import ModuleType
from urllib.parse import unquote, urlsplit

import pytest
from parts.tool_modules import tool_module

from lintsvc.handbook.materials import materials
from lintsvc.rulebook.limit_rules.features import FEATURES
from lintsvc.rulebook.packs import load_packs

RULES = [rule for pack in load_packs(installed=False) for rule in pack.rules]


@pytest.fixture(scope="module")
def tool(repository: Path) -> ModuleType:
    return tool_module(repository, "docs_site")


@pytest.fixture(scope="module")
def site(tool: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    try:
        tool.build(folder)
    except SystemExit as error:
        pytest.fail(str(error))
    return folder


def page(site: Path, name: str) -> str:
    return (site / name).read_text("utf-8")


def test_every_rule_has_a_page_with_a_bad_and_a_good_picture(site: Path) -> None:
    for rule in RULES:
        pack, _, name = rule.id.partition("/")
        text = page(site, f"rules/{pack}/{name}.html")
        for heading in ("Measured", "Remedy", "Ignore when", "Applies to"):
            assert f">{heading}<" in text, (rule.id, heading)
        assert (">Limits<" in text) == bool(rule.limits)
        assert (">Caution<" in text) == bool(rule.caution)
        for word in ("bad", "good"):
            (picture,) = re.findall(rf'<img alt="A {word} part" src="([^"]+)"', text)
            assert "<svg" in (site / "rules" / pack / picture).read_text("utf-8"), rule.id


def test_every_feature_of_limit_rules_has_a_picture_and_units(site: Path) -> None:
    text = page(site, "reference/conditions.html")
    for feature in FEATURES:
        assert f'alt="what a {feature.name} is"' in text
        for key, attribute in feature.attributes.items():
            assert f"{feature.name}.{key}" in text
            assert attribute.kind.name in text


def test_handbook_schema_api_and_commands_are_there(site: Path) -> None:
    assert all(x.id in page(site, "reference/handbook.html") for x in materials())
    assert "PartReport" in page(site, "reference/report.html")
    assert "/api/v1/checks" in page(site, "reference/api.html")
    assert "lintsvc check" in page(site, "reference/commands.html")


def test_every_link_leads_to_a_page_and_every_picture_and_script_is_a_file_of_the_site(site: Path) -> None:
    for path in site.rglob("*.html"):
        text = path.read_text("utf-8")
        loaded = re.findall(r'<(?:script|img|iframe|source)[^>]*\bsrc="([^"]*)"', text)
        loaded += re.findall(r'<link[^>]*\bhref="([^"]*)"', text)
        for address in loaded:
            assert not urlsplit(address).netloc, f"{path.name} fetches {address}"
        for address in (*loaded, *re.findall(r'<a[^>]*\bhref="([^"]*)"', text)):
            parts = urlsplit(address)
            if parts.scheme or not parts.path:
                continue
            assert (path.parent / unquote(parts.path)).resolve().is_file(), f"{path.name} names {address}"


def test_styles_of_the_site_fetch_nothing(site: Path) -> None:
    for path in site.rglob("*.css"):
        assert not re.search(r"(?:@import|url\()\s*['\"]?(?:https?:)?//", path.read_text("utf-8")), path.name


def test_link_that_leads_nowhere_ends_the_build(tool: ModuleType, tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    (source / "index.md").write_text("# Start\n\n[somewhere](nowhere.md)\n")
    with pytest.raises(SystemExit, match=re.escape("nowhere.md")):
        tool._sphinx(source, tmp_path / "out", tmp_path / "trees")
