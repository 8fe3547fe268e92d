"""Which files changed since a commit, asked of git."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable
from pathlib import Path

from lintsvc.project.config import NAME, ConfigError


def changed_since(reference: str, folder: Path) -> set[str] | None:
    """Return the real paths of files changed or new since a commit, in the repository around `folder`.

    None means: everything is to be checked, because a `lintsvc.toml` or a rule file changed.
    Raises ConfigError where git or the commit is not there.
    """
    if reference.startswith("-"):
        raise ConfigError(f"{reference!r} is no commit")
    top = Path(os.fsdecode(_git(folder, "rev-parse", "--show-toplevel")).rstrip("\n"))
    # Peeled to a commit, so that a word that git does not know is told as that.
    commit = _git(folder, "rev-parse", "--verify", "--end-of-options", f"{reference}^{{commit}}").decode().strip()
    names = _git(top, "diff", "--name-only", "--no-renames", "-z", commit, "--")
    names += _git(top, "ls-files", "--others", "--exclude-standard", "-z")
    changed = [os.fsdecode(x) for x in names.split(b"\0") if x]
    if any(_changes_all(x) for x in changed):
        return None
    return {os.path.realpath(top / x) for x in changed}


def _changes_all(name: str) -> bool:
    path = Path(name)
    return path.name in (NAME, "pack.toml") or (path.suffix in (".py", ".toml") and "lint-rules" in path.parts)


def _git(folder: Path, *arguments: str) -> bytes:
    try:
        done = subprocess.run(["git", *arguments], cwd=folder, capture_output=True, check=False)
    except OSError as error:
        raise ConfigError(f"git cannot be run: {error.strerror}") from None
    if done.returncode:
        lines = done.stderr.decode("utf-8", "replace").strip().splitlines() or ["no reason given"]
        raise ConfigError(f"git: {lines[0].removeprefix('fatal: ')}")
    return done.stdout


def repository_of(paths: Iterable[Path]) -> Path:
    """Return a folder to ask git in: that of the first path."""
    first = next(iter(paths))
    return first if first.is_dir() else first.absolute().parent
