"""The demo: every planted fault is found in the faulty version, and nothing above a note in the good one."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.demo import FAULTS, choices_of, write_demo
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

RULES = [rule for pack in load_packs(installed=False) for rule in pack.rules]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("gauge")
    write_demo(made)
    return made


@pytest.mark.parametrize("name", list(FAULTS))
def test_every_planted_fault_is_found_once_and_nothing_else(folder: Path, name: str) -> None:
    report = check_file(folder / "faulty" / name, choices_of(name), RULES).report
    assert report.unreadable is None
    assert sorted(x.rule for x in report.findings if x.level != "note") == sorted(FAULTS[name])
    assert not [x for x in report.not_checked if x.failed]


@pytest.mark.parametrize("name", list(FAULTS))
def test_the_good_version_raises_nothing_above_a_note(folder: Path, name: str) -> None:
    report = check_file(folder / "good" / name, choices_of(name), RULES).report
    assert [x.message for x in report.findings if x.level != "note"] == []
    assert not [x for x in report.not_checked if x.failed]


def test_the_demo_is_the_same_every_time(folder: Path, tmp_path: Path) -> None:
    write_demo(tmp_path)
    for name in ("housing.stl", "lid.stl"):
        assert (tmp_path / "good" / name).read_bytes() == (folder / "good" / name).read_bytes()
