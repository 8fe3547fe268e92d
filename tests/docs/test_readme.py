"""The README says what the program says."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from lintsvc.cli import COMMANDS


def test_the_output_and_the_packs_are_true(repository: Path) -> None:
    done = subprocess.run(
        [sys.executable, "tools/readme.py", "--check"], cwd=repository, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_every_command_it_names_exists(repository: Path) -> None:
    text = (repository / "README.md").read_text("utf-8")
    named = set(re.findall(r"`lintsvc ([a-z-]+)", text)) | set(re.findall(r"\$ lintsvc ([a-z-]+)", text))
    assert named <= set(COMMANDS)
    assert {"check", "explain", "rules"} <= named


def test_every_file_it_links_to_is_there(repository: Path) -> None:
    for page in (repository / "README.md", repository / "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_the_two_commands_stand_at_the_top(repository: Path) -> None:
    top = (repository / "README.md").read_text("utf-8")[:1800]
    assert "make serve" in top
    assert "make test" in top
