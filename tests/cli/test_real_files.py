"""The command over real part files, and over broken and hostile ones: a report or a clear word for each."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
import trimesh
from ezdxf import recover
from parts.command import lintsvc
from parts.hostile_files import Hostile

from lintsvc.reports.json_report import from_dict


def checked(folder: Path, paths: list[str], *arguments: str | Path) -> tuple[int, list[dict[str, Any]], str]:
    target = folder.parent / "report.json"
    arguments = ("--no-cache", "--format", "json", "--output", target, *arguments)
    ran = lintsvc("check", *arguments, *paths, cwd=folder, seconds=1800)
    assert "Traceback" not in ran.stderr + ran.stdout
    data = json.loads(target.read_text("utf-8"))
    assert len(from_dict(data).parts) == len(data["parts"])
    return ran.returncode, data["parts"], ran.stderr


@pytest.mark.needs_shared
def test_every_real_file_gives_a_report_or_a_clear_word(shared: Path, tmp_path: Path) -> None:
    files = sorted(x for x in (shared / "corpus" / "open").rglob("*") if x.is_file() and x.suffix != ".tsv")
    (tmp_path / "here").mkdir()
    status, parts, _ = checked(tmp_path / "here", [str(x) for x in files], "--highlights", tmp_path / "lit")
    assert status in (1, 2)
    assert [x["file"] for x in parts] == [x.as_posix() for x in files]
    failed = [(x["file"], y) for x in parts for y in x["not_checked"] if y.get("failed")]
    assert failed == []
    unreadable = [x for x in parts if "unreadable" in x]
    assert all(x["unreadable"]["why"].endswith(".") and len(x["unreadable"]["why"]) < 200 for x in unreadable)
    # Every part that was read has something lit, and other libraries read it.
    lit = sorted((tmp_path / "lit").iterdir())
    assert len({x.name.split(".highlights.")[0] for x in lit}) == len(parts) - len(unreadable)
    for path in lit:
        if path.suffix == ".glb":
            assert trimesh.load_scene(path).geometry
        elif path.suffix == ".dxf":
            _, auditor = recover.readfile(path)
            assert not auditor.has_errors


@pytest.mark.needs_shared
def test_hostile_files_lose_nothing_but_themselves(hostile: dict[str, Hostile], tmp_path: Path) -> None:
    folder = tmp_path / "hostile"
    folder.mkdir()
    for file in hostile.values():
        shutil.copy(file.path, folder)
    before = sorted(tmp_path.rglob("*"))
    # Some names begin with a dash; "--" ends the options.
    names = sorted(x.name for x in folder.iterdir())
    _, parts, _ = checked(folder, ["--", *names], "--highlights", tmp_path / "lit")
    assert len(parts) == len(names)
    assert all("unreadable" in x or x["part"] for x in parts)
    written = set(tmp_path.rglob("*")) - set(before) - {tmp_path / "report.json", tmp_path / "lit"}
    assert all(x.parent == tmp_path / "lit" or ".cache" in x.parts for x in written)
