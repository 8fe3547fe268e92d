"""The cache: the same file under the same rules and choices is known; whatever changes the result changes the key."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

import pytest
from parts import reports

from lintsvc.model.choices import Choices
from lintsvc.project.cache import Cache
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, read_adjustments
from lintsvc.rulebook.version import rules_version


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    return Cache(tmp_path / "cache", "1")


def test_result_is_found_again_under_the_files_present_name(cache: Cache) -> None:
    key = cache.key("ab" * 32, Choices(), NO_ADJUSTMENTS)
    assert cache.find(key, "a.stl") is None
    cache.keep(key, reports.housing_report())
    assert cache.find(key, "moved/a.stl") == reports.housing_report(file="moved/a.stl")


def test_unreadable_file_is_remembered_too(cache: Cache) -> None:
    cache.keep("0" * 64, reports.unreadable_report())
    assert cache.find("0" * 64, "broken.stl") == reports.unreadable_report()


def test_result_with_a_failed_rule_is_not_kept(cache: Cache) -> None:
    cache.keep("0" * 64, reports.bracket_report())
    assert cache.find("0" * 64, "bracket.dxf") is None


def test_key_changes_with_everything_that_the_result_depends_on(tmp_path: Path, cache: Cache) -> None:
    changes = read_adjustments({"levels": {"a/b": "off"}}, lambda *_: "here")
    keys = [
        cache.key("ab" * 32, Choices(), NO_ADJUSTMENTS),
        cache.key("cd" * 32, Choices(), NO_ADJUSTMENTS),
        cache.key("ab" * 32, Choices(thickness_mm=2.0), NO_ADJUSTMENTS),
        cache.key("ab" * 32, Choices(), changes),
        Cache(tmp_path, "2").key("ab" * 32, Choices(), NO_ADJUSTMENTS),
    ]
    assert len(set(keys)) == len(keys)


def test_damaged_result_is_as_if_it_were_not_there(cache: Cache) -> None:
    cache.keep("0" * 64, reports.housing_report())
    (path,) = cache.folder.glob("??/*.json")
    for text in ("", "{", '{"parts": []}', path.read_text("utf-8").replace('"STL"', "7")):
        path.write_text(text, "utf-8")
        assert cache.find("0" * 64, "a.stl") is None


def test_folder_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    cache = Cache(tmp_path / "file" / "cache", "1")
    cache.keep("0" * 64, reports.housing_report())
    cache.prune()
    assert cache.find("0" * 64, "a.stl") is None


def test_what_was_not_asked_for_in_a_month_is_thrown_away(cache: Cache) -> None:
    for key in ("0" * 64, "1" * 64):
        cache.keep(key, reports.housing_report())
    old = next((cache.folder / "00").iterdir())
    long_ago = time.time() - 31 * 86_400
    os.utime(old, (long_ago, long_ago))
    cache.prune()
    assert cache.find("0" * 64, "a.stl") is None
    assert cache.find("1" * 64, "a.stl") is not None


def test_version_changes_with_a_rule_and_not_with_its_fixtures(tmp_path: Path) -> None:
    (tmp_path / "fixtures").mkdir()
    (tmp_path / "rule.py").write_text("one")
    first = rules_version([tmp_path])
    (tmp_path / "fixtures" / "make.py").write_text("anything")
    assert rules_version([tmp_path]) == first
    (tmp_path / "rule.py").write_text("two")
    assert rules_version([tmp_path]) != first


def test_report_kept_and_found_is_the_same_in_every_field(cache: Cache) -> None:
    whole = replace(reports.housing_report(reports.thin_wall(fix="x", set_aside="y")), notes=("a",))
    cache.keep("0" * 64, whole)
    assert cache.find("0" * 64, whole.file) == whole
