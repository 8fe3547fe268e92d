"""A shop's repository, and where the recipes find the command: for whoever tries them."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest
from parts.service_parts import box_stl, open_box_stl, plate_dxf

CONFIG = """\
[[parts]]
files = ["*.stl"]
material = "pa12"

[[parts]]
files = ["*.dxf"]
material = "steel-mild"
thickness = "2mm"
"""


@pytest.fixture(scope="module")
def recipes(repository: Path) -> Path:
    return repository / "docs" / "recipes"


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    """A folder for the PATH with the command, and a pip that installs nothing."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name, body in (
        ("lintsvc", f'exec "{sys.executable}" -m lintsvc.cli "$@"'),
        ("python", 'test "$*" = "-m pip install lintsvc.whl"'),
    ):
        (folder / name).write_text(f"#!/bin/sh\n{body}\n")
        (folder / name).chmod(0o755)
    return folder


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A git repository with two sound parts, committed."""
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "lintsvc.toml").write_text(CONFIG)
    (folder / "box.stl").write_bytes(box_stl(20, 20, 20))
    (folder / "plate.dxf").write_bytes(plate_dxf())
    git(folder, "init", "-q", "-b", "main")
    git(folder, "add", ".")
    git(folder, "commit", "-q", "-m", "parts")
    return folder


def environment(tools: Path, **more: str) -> dict[str, str]:
    who = {f"GIT_{x}_{y}": "you@invalid" for x in ("AUTHOR", "COMMITTER") for y in ("NAME", "EMAIL")}
    alone = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull, "HOME": str(tools.parent)}
    return os.environ | who | alone | {"PATH": f"{tools}:{os.environ['PATH']}", "LINTSVC": "lintsvc.whl"} | more


def git(folder: Path, *words: str, env: Mapping[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    made = environment(folder) if env is None else env
    done = subprocess.run(["git", *words], cwd=folder, env=made, capture_output=True, text=True, check=False)
    assert env is not None or done.returncode == 0, done.stderr
    return done


def break_box(shop: Path) -> None:
    (shop / "box.stl").write_bytes(open_box_stl())
