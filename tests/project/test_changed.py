"""Only what changed since a commit, asked of a real git repository."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from lintsvc.project.changed import changed_since
from lintsvc.project.config import ConfigError


def git(folder: Path, *arguments: str) -> None:
    names = {f"GIT_{role}_{what}": "test@invalid" for role in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    alone = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull}
    subprocess.run(["git", *arguments], cwd=folder, check=True, capture_output=True, env=os.environ | names | alone)


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    top = tmp_path / "top"
    for name in ("same.stl", "edited.stl", "sub/deep ü.stl", "ignored.stl"):
        (top / name).parent.mkdir(parents=True, exist_ok=True)
        (top / name).write_text("one")
    (top / ".gitignore").write_text("ignored.stl\n")
    git(top, "init", "-q", "-b", "main")
    git(top, "add", ".")
    git(top, "commit", "-q", "-m", "first")
    return top


def names(repository: Path, found: set[str] | None) -> set[str]:
    assert found is not None
    return {os.path.relpath(x, os.path.realpath(repository)) for x in found}


def test_edited_and_new_files_are_found_and_others_are_not(repository: Path) -> None:
    (repository / "edited.stl").write_text("two")
    (repository / "sub" / "deep ü.stl").write_text("two")
    (repository / "new.stl").write_text("one")
    found = changed_since("main", repository / "sub")
    assert names(repository, found) == {"edited.stl", "sub/deep ü.stl", "new.stl"}


def test_committed_change_counts_since_an_earlier_commit(repository: Path) -> None:
    (repository / "edited.stl").write_text("two")
    git(repository, "commit", "-q", "-a", "-m", "second")
    assert names(repository, changed_since("HEAD", repository)) == set()
    assert names(repository, changed_since("HEAD~1", repository)) == {"edited.stl"}


@pytest.mark.parametrize("name", ["lintsvc.toml", "lint-rules/shop/rule.py", "sub/pack.toml"])
def test_changed_rules_mean_everything(repository: Path, name: str) -> None:
    path = repository / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("")
    assert changed_since("HEAD", repository) is None


@pytest.mark.parametrize("reference", ["no-such-branch", "--output=x", ""])
def test_commit_that_is_not_there_is_refused(repository: Path, reference: str) -> None:
    with pytest.raises(ConfigError):
        changed_since(reference, repository)


def test_folder_outside_of_a_repository_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="not a git repository"):
        changed_since("HEAD", tmp_path)
