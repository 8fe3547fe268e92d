"""Findings set aside: by file, fingerprint and rule, until a day; and entries that are no longer needed are told."""

from __future__ import annotations

import datetime
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import reports

from lintsvc.project.config import ConfigError
from lintsvc.project.set_aside import SetAside, entry_text, read_set_aside

TODAY = datetime.date(2026, 6, 1)
FINDING = reports.thin_wall()


def written(folder: Path, *entries: str) -> SetAside:
    path = folder / "lintsvc-set-aside.toml"
    path.write_text("\n".join(entries), "utf-8")
    return read_set_aside(path, TODAY)


def entry(file: str = "housing.stl", until: datetime.date | None = None, fingerprint: str = FINDING.fingerprint) -> str:
    return entry_text(fingerprint, file, FINDING.rule, "a film, cut away", "A. Name", until)


def reasons(set_aside: SetAside, path: Path) -> list[str]:
    return [x.set_aside for x in set_aside.apply(reports.housing_report(), path).findings]


def test_finding_is_set_aside_with_reason_author_and_day(tmp_path: Path) -> None:
    decided = written(tmp_path, entry(until=datetime.date(2026, 6, 1)))
    assert reasons(decided, tmp_path / "housing.stl") == ["a film, cut away (A. Name, until 2026-06-01)", ""]
    assert decided.stale() == []


def test_after_its_day_the_finding_counts_again_and_that_is_told(tmp_path: Path) -> None:
    decided = written(tmp_path, entry(until=datetime.date(2026, 5, 31)))
    assert reasons(decided, tmp_path / "housing.stl") == ["", ""]
    (told,) = decided.stale()
    assert "line 1: powder-bed/thin-wall on housing.stl was set aside until 2026-05-31" in told


def test_same_fault_in_another_file_is_another_decision(tmp_path: Path) -> None:
    decided = written(tmp_path, entry())
    assert reasons(decided, tmp_path / "lid.stl") == ["", ""]
    assert reasons(decided, tmp_path.parent / "housing.stl") == ["", ""]


def test_pattern_holds_for_all_files_that_it_names(tmp_path: Path) -> None:
    decided = written(tmp_path, entry("parts/*.stl"))
    assert reasons(decided, tmp_path / "parts" / "any.stl")[0]


def test_entry_whose_finding_is_gone_is_told(tmp_path: Path) -> None:
    decided = written(tmp_path, entry(), entry(fingerprint="f" * 16))
    reasons(decided, tmp_path / "housing.stl")
    (told,) = decided.stale()
    assert "is no longer found" in told
    assert "line 8" in told


def test_entry_of_a_file_that_was_not_looked_at_is_not_called_stale(tmp_path: Path) -> None:
    decided = written(tmp_path, entry("other.stl"), entry("broken.stl"))
    reasons(decided, tmp_path / "housing.stl")
    decided.apply(reports.unreadable_report(), tmp_path / "broken.stl")
    assert decided.stale() == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (entry().replace("a film, cut away", ""), "reason is missing"),
        (entry().replace(FINDING.fingerprint, "xyz"), "16 digits"),
        (entry() + 'until = "2026-01-01"', "without quotes"),
        (entry() + "why = 1", "no key 'why'"),
        ("other = 1", "nothing but entries"),
        ("[[set-aside", "lintsvc-set-aside.toml"),
    ],
)
def test_mistake_is_refused_with_the_valid_words(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(ConfigError, match="lintsvc-set-aside") as caught:
        written(tmp_path, text)
    assert words in str(caught.value)


@given(reason=st.text(min_size=1), author=st.text(min_size=1), file=st.text(min_size=1))
def test_any_text_is_written_so_that_it_reads_back(reason: str, author: str, file: str) -> None:
    text = entry_text("0" * 16, file, "a/b", reason, author, TODAY)
    assert tomllib.loads(text)["set-aside"] == [
        {"fingerprint": "0" * 16, "file": file, "rule": "a/b", "reason": reason, "author": author, "until": TODAY}
    ]
