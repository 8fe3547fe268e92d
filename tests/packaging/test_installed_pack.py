"""A rule pack in an installed package: both kinds of rules load from it as from a folder."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from parts.command import lintsvc
from parts.service_parts import plate_dxf

PROJECT = """\
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"

[project]
name = "our-rules"
version = "1.0"

[project.entry-points."lintsvc.packs"]
ours = "our_rules:FOLDER"

[tool.hatch.build.targets.wheel]
packages = ["our_rules"]
"""

CODE = '''"""Two holes or more."""

from lintsvc.rulebook import Hit, Limit, Source, rule


@rule(
    id="ours/too-many-holes", process="sheet", kind="sheet", level="note", since="1",
    message="There are {measured} holes; {limit} are enough.", remedy="Leave some out.",
    limits=(Limit("any", 0.5, "count", Source("shop", "our drill press")),), worse="above", cost="cosmetic",
)
def check(part, limit):
    """Too many holes.

    Measured: how many round holes the flat has.
    Ignore when: they are cut.
    """
    if len(part.flat.holes) > limit:
        yield Hit(float(len(part.flat.holes)), part.flat.where_of_all, unit="count")
'''

LIMIT = """\
title = "Hole smaller than our punch."
faulty_when = "hole.diameter < 10 mm"
message = "A hole is {measured} across; we punch from {limit} up."
remedy = "Open it to {limit}."
ignore_when = "it is drilled"
source = "our punch table"
level = "note"
since = "1"
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that pip installed the package into, as it does into an environment: files and their metadata."""
    folder = tmp_path_factory.mktemp("installed")
    source = folder / "source"
    pack = source / "our_rules" / "ours"
    pack.mkdir(parents=True)
    (source / "pyproject.toml").write_text(PROJECT)
    (source / "our_rules" / "__init__.py").write_text(
        'from pathlib import Path\n\nFOLDER = Path(__file__).parent / "ours"\n'
    )
    (pack / "pack.toml").write_text('name = "ours"\ntitle = "Ours"\nsummary = "Our own."\napi = 1\n')
    (pack / "too_many_holes.py").write_text(CODE)
    (pack / "hole_too_small.toml").write_text(LIMIT)
    target = folder / "site"
    # Nothing is fetched: the build back end is there already, and there are no dependencies.
    done = subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-index", "--no-deps", "--no-build-isolation",
         "--target", target, source],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert list(target.glob("our_rules-1.0.dist-info/entry_points.txt"))
    return target


def path_with(installed: Path) -> str:
    return os.pathsep.join(x for x in (str(installed), os.environ.get("PYTHONPATH", "")) if x)


def test_both_kinds_of_rules_of_an_installed_package_are_run_and_explained(installed: Path, tmp_path: Path) -> None:
    (tmp_path / "plate.dxf").write_bytes(plate_dxf(hole=8.0))
    env = {"PYTHONPATH": path_with(installed)}
    done = lintsvc("check", "plate.dxf", "--material", "steel-mild", "--thickness", "2mm", "--format", "json",
                   cwd=tmp_path, **env)  # fmt: skip
    assert done.returncode == 0, done.stderr
    (part,) = json.loads(done.stdout)["parts"]
    ours = {x["rule"]: x for x in part["findings"] if x["rule"].startswith("ours/")}
    assert set(ours) == {"ours/too-many-holes", "ours/hole-too-small"}
    assert {x["limit"]["source"]["kind"] for x in ours.values()} == {"shop"}
    assert all(x["where"] for x in ours.values())
    for rule in ours:
        told = lintsvc("explain", rule, cwd=tmp_path, **env)
        assert told.returncode == 0 and ("Sources" in told.stdout or "Limits" in told.stdout)
    # The same folder named by hand beside it is the same pack; a copy of it is a second one, and refused loudly.
    folder = installed / "our_rules" / "ours"
    again = lintsvc("rules", "--rules", folder, cwd=tmp_path, **env)
    assert again.returncode == 0 and again.stdout.count("ours/too-many-holes") == 1
    shutil.copytree(folder, tmp_path / "copy" / "ours")
    twice = lintsvc("rules", "--rules", tmp_path / "copy" / "ours", cwd=tmp_path, **env)
    assert twice.returncode == 2 and "two rules are called" in twice.stderr


def test_without_the_package_the_rules_are_not_there(tmp_path: Path) -> None:
    done = lintsvc("explain", "ours/too-many-holes", cwd=tmp_path)
    assert done.returncode == 2 and "there is no rule" in done.stderr


def test_installed_pack_that_cannot_be_loaded_is_told_by_its_name(tmp_path: Path) -> None:
    info = tmp_path / "site" / "broken-1.0.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: broken\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text("[lintsvc.packs]\nbroken = not_there:FOLDER\n")
    done = lintsvc("rules", cwd=tmp_path, PYTHONPATH=path_with(tmp_path / "site"))
    assert done.returncode == 2
    assert "the installed pack 'broken' (not_there:FOLDER) cannot be loaded: ModuleNotFoundError" in done.stderr
