"""The wheel by itself: packs, page and worker are inside it, and the command works from it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory, repository: Path) -> Path:
    """The built wheel, unpacked where no checkout is near."""
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(repository)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "lib")
    return folder / "lib"


def run(unpacked: Path, *arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the command out of the wheel, not out of the checkout."""
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    return subprocess.run(
        [sys.executable, *arguments], env=environment, cwd=cwd, capture_output=True, text=True, check=False
    )


def test_the_wheel_is_what_is_run(unpacked: Path, tmp_path: Path) -> None:
    done = run(unpacked, "-c", "import lintsvc, lintsvc_worker; print(lintsvc.__file__)", cwd=tmp_path)
    assert done.stdout.strip() == str(unpacked / "lintsvc" / "__init__.py")


def test_the_page_is_inside_and_its_sources_are_not(unpacked: Path) -> None:
    static = unpacked / "lintsvc" / "web" / "static"
    html = (static / "index.html").read_text()
    for name in html.split('"/static/')[1:]:
        assert (static / name.split('"')[0]).is_file()
    assert not (unpacked / "lintsvc" / "web" / "page").exists()


def test_every_rule_of_the_checkout_is_inside(unpacked: Path, repository: Path, tmp_path: Path) -> None:
    code = (
        "import json; from lintsvc.rulebook.packs import load_packs;"
        "print(json.dumps(sorted(r.id for p in load_packs(installed=False) for r in p.rules)))"
    )
    done = run(unpacked, "-c", code, cwd=tmp_path)
    inside = json.loads(done.stdout)
    files = sorted(
        f"{x.parent.name}/{x.stem.replace('_', '-')}"
        for x in (repository / "rules").glob("*/*.py")
        if not x.name.startswith("_")
    )
    assert inside == files


def test_the_command_checks_a_file(unpacked: Path, tmp_path: Path) -> None:
    assert run(unpacked, "-m", "lintsvc.cli", "demo", "gauge", cwd=tmp_path).returncode == 0
    # A flat: a body would have the measuring code compiled anew for this copy.
    done = run(unpacked, "-m", "lintsvc.cli", "check", "--format", "json", "gauge/faulty/bracket.dxf", cwd=tmp_path)
    assert done.returncode == 1, done.stderr
    findings = json.loads(done.stdout)["parts"][0]["findings"]
    assert {"sheet/open-contour", "bend/direction-missing"} <= {x["rule"] for x in findings}
