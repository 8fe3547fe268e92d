"""A repository of real part files, with a real git: init, check, baseline, a planted fault, a moved part, compare."""

from __future__ import annotations

import json
import os
import shutil
import struct
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts.command import lintsvc

pytestmark = pytest.mark.needs_shared

KINDS = {".stl", ".dxf", ".step", ".stp", ".3mf", ".obj", ".svg", ".ply", ".glb"}
LARGEST = 150_000
#: Sound, with a few findings of its own; the fault is planted in the first and the second is moved.
FAULTY, MOVED = "stl/plate_holes.STL", "stl/ati_sensor_top_plate.STL"


def git(folder: Path, *arguments: str) -> str:
    names = {f"GIT_{role}_{what}": "test@invalid" for role in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    alone = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull}
    done = subprocess.run(
        ["git", *arguments], cwd=folder, check=True, capture_output=True, text=True, env=os.environ | names | alone
    )
    return done.stdout


def checked(folder: Path, *arguments: str) -> tuple[int, list[dict[str, Any]], str]:
    ran = lintsvc("check", ".", "--format", "json", *arguments, cwd=folder, seconds=900)
    return ran.returncode, json.loads(ran.stdout)["parts"], ran.stderr


def open_findings(parts: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """File and rule of everything that is not set aside."""
    return [(part["file"], x["rule"]) for part in parts for x in part["findings"] if not x.get("set_aside")]


def triangles(path: Path) -> Any:
    """Records of a binary STL: normal, corners, attribute."""
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    data = path.read_bytes()
    (count,) = struct.unpack_from("<I", data, 80)
    return np.frombuffer(data, kind, count, 84).copy()


def write_stl(path: Path, records: Any) -> None:
    path.write_bytes(b"\0" * 80 + struct.pack("<I", len(records)) + records.tobytes())


@pytest.fixture(scope="module")
def top(shared: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A committed repository of every real file that is not too large, with what `lintsvc init` writes."""
    folder = tmp_path_factory.mktemp("real") / "top"
    corpus = shared / "corpus" / "open"
    for path in sorted(corpus.rglob("*")):
        if path.suffix.lower() in KINDS and path.stat().st_size <= LARGEST:
            target = folder / path.relative_to(corpus)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, target)
    started = lintsvc("init", ".", cwd=folder)
    assert started.returncode == 0, started.stderr
    (folder / ".gitignore").write_text(".cache/\nbaseline.json\n")
    # What nobody can read is not for a repository to carry on with: it is found first, and left out by name.
    _, parts, _ = checked(folder)
    assert len(parts) >= 25
    assert {Path(x["file"]).suffix.lower() for x in parts} >= {".stl", ".dxf", ".svg", ".obj"}
    unreadable = [x["file"] for x in parts if x.get("unreadable")]
    escaped = ["/" + "".join("\\" + c if c in "*?[]!# " else c for c in x) for x in unreadable]
    config = folder / "lintsvc.toml"
    config.write_text(f"exclude = {json.dumps(escaped)}\n\n" + config.read_text("utf-8"), "utf-8")
    git(folder, "init", "-q", "-b", "main")
    git(folder, "add", ".")
    git(folder, "commit", "-q", "-m", "parts as they are")
    return folder


def test_real_repository_from_its_start_to_a_planted_fault(top: Path) -> None:
    # What is there is accepted as a start: nothing of it counts, whatever its level.
    first = lintsvc("check", ".", "--format", "json", "--output", "baseline.json", cwd=top, seconds=900)
    assert first.returncode in (0, 1), first.stderr
    known = json.loads((top / "baseline.json").read_text("utf-8"))["parts"]
    assert len(open_findings(known)) > 20
    status, parts, told = checked(top, "--baseline", "baseline.json", "--fail-on", "note")
    assert (status, open_findings(parts), told) == (0, [], "")

    # A part that is moved and written by another program is the same part.
    records = triangles(top / MOVED)
    records["corners"] += np.array([31.25, -7.5, 12.125], "<f4")
    records["normal"] = 0
    write_stl(top / MOVED, np.roll(records, 7))
    status, parts, told = checked(top, "--baseline", "baseline.json", "--fail-on", "note")
    assert (status, open_findings(parts), told) == (0, [], "")
    git(top, "commit", "-q", "-a", "-m", "moved")

    # A planted fault: one triangle less.
    write_stl(top / FAULTY, triangles(top / FAULTY)[1:])
    git(top, "commit", "-q", "-a", "-m", "a hole in the surface")
    status, parts, _ = checked(top, "--baseline", "baseline.json")
    assert status == 1
    new = open_findings(parts)
    assert {file for file, _ in new} == {FAULTY}
    assert "soundness/open-edge" in {rule for _, rule in new}
    status, parts, _ = checked(top, "--changed-since", "HEAD~1")
    assert (status, [x["file"] for x in parts]) == (1, [FAULTY])

    # The same said of two commits, and of the one before, where only a part was moved.
    compared = lintsvc("compare", "HEAD~1", "HEAD", cwd=top, seconds=900)
    assert compared.returncode == 1, compared.stderr
    assert "new   error soundness/open-edge" in compared.stdout
    assert next(x for x in compared.stdout.splitlines() if x and not x.startswith(" ")) == FAULTY
    assert "watertight: yes → no" in compared.stdout
    moved = lintsvc("compare", "HEAD~2", "HEAD~1", "--fail-on", "note", cwd=top, seconds=900)
    assert moved.returncode == 0, moved.stdout
    assert "0 findings new, 0 gone" in moved.stdout

    # Somebody decides to live with it for a while; the decision is a file that is reviewed like any other.
    fault = next(x for x in checked(top, "--changed-since", "HEAD~1")[1][0]["findings"]
                 if x["rule"] == "soundness/open-edge")  # fmt: skip
    decided = lintsvc(
        "set-aside", FAULTY, fault["fingerprint"], "--reason", "closed before it is sent", "--author", "A. Name",
        "--until", "2031-01-31", cwd=top,
    )  # fmt: skip
    assert decided.returncode == 0, decided.stderr
    _, parts, _ = checked(top, "--baseline", "baseline.json")
    assert (FAULTY, "soundness/open-edge") not in open_findings(parts)
    # Mended: the entry is told as stale.
    git(top, "checkout", "-q", "HEAD~1", "--", FAULTY)
    _, _, told = checked(top, "--baseline", "baseline.json")
    assert "is no longer found; take the entry out" in told
