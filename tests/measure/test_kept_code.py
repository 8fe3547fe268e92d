"""Compiled kernels on disk: kept, found again, and compiled again where anything they are made of has changed."""

from __future__ import annotations

import importlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from lintsvc.measure import compile_news, kept_code

INNER = "from lintsvc.measure.compiled import compiled\n@compiled\ndef inner(x):\n    return x + 1\n"
OUTER = """
from kept_inner import inner
from kept_numbers import FACTOR
from lintsvc.measure.compiled import compiled
@compiled
def outer(x):
    return FACTOR * inner(x)
"""


class Kernels:
    """Three small files of kernels, each time as a new process would read them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.compiled = 0
        self.write(kept_inner=INNER, kept_numbers="FACTOR = 10\n", kept_outer=OUTER)

    def write(self, **texts: str) -> None:
        for name, text in texts.items():
            (self.folder / f"{name}.py").write_text(text)
            # By time and size alone Python would not notice the change.
            for old in (self.folder / "__pycache__").glob(f"{name}.*.pyc"):
                old.unlink()

    def run(self, number: float = 2) -> tuple[float, int]:
        """What the kernel gives for a number, and how many kernels were compiled for that."""
        for name in ("kept_inner", "kept_numbers", "kept_outer"):
            sys.modules.pop(name, None)
        importlib.invalidate_caches()
        self.compiled = 0
        result = importlib.import_module("kept_outer").outer(number)
        return result, self.compiled

    def kept(self, folder: Path) -> list[Path]:
        return sorted(folder.rglob("*.nb[ic]"))


@pytest.fixture
def kernels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Kernels]:
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr("numba.core.config.CACHE_DIR", "")
    made = Kernels(tmp_path)

    def heard(begins: bool) -> None:
        made.compiled += begins

    monkeypatch.setattr(compile_news, "listeners", [heard])
    yield made
    for name in ("kept_inner", "kept_numbers", "kept_outer"):
        sys.modules.pop(name, None)


def test_what_is_kept_is_loaded_and_what_has_changed_is_compiled(
    kernels: Kernels, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert kernels.run() == (30, 1)
    assert kernels.run() == (30, 0)
    # A constant of another file; the kernel that is kept goes into the one that is compiled.
    kernels.write(kept_numbers="FACTOR = 100\n")
    assert kernels.run() == (300, 1)
    # A kernel of another file.
    kernels.write(kept_inner=INNER.replace("+ 1", "+ 2"))
    assert kernels.run() == (400, 1)
    assert kernels.run() == (400, 0)
    # What lies beside the source is found where something else is to be written, and is not written again.
    elsewhere = tmp_path / "elsewhere"
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(elsewhere))
    assert kernels.run() == (400, 0)
    assert kernels.kept(elsewhere) == []
    # Loading needs no table of what functions compile to: in a new process nothing has read them.
    code = "import sys, kept_outer; print(kept_outer.outer(2), 'numba.np.npyimpl' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["400", "False"]


def test_damaged_code_is_compiled_again(kernels: Kernels, tmp_path: Path) -> None:
    assert kernels.run() == (30, 1)
    files = kernels.kept(tmp_path)
    assert {x.suffix for x in files} == {".nbi", ".nbc"}
    for file in files:
        file.write_bytes(file.read_bytes()[:-20])
    assert kernels.run() == (30, 1)
    assert kernels.run() == (30, 0)


def test_code_for_other_types_under_the_same_name_is_not_taken(kernels: Kernels, tmp_path: Path) -> None:
    # So two processes can leave it that compile one kernel at the same time.
    assert kernels.run(2) == (30, 1)
    assert kernels.run(2.5) == (35.0, 1)
    first, second = sorted((tmp_path / "__pycache__").glob("kept_outer.outer-*.nbc"))
    second.write_bytes(first.read_bytes())
    assert kernels.run(2.5) == (35.0, 1)
    assert kernels.run(2) == (30, 0)


def test_kernels_run_where_nothing_can_be_written(
    kernels: Kernels, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Files where folders are wanted: even root cannot write into them.
    (tmp_path / "__pycache__").write_text("")
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(tmp_path / "file"))
    monkeypatch.setattr(kept_code, "not_kept", [])
    assert kernels.run() == (30, 1)
    assert any(str(tmp_path / "__pycache__") in x for x in kept_code.not_kept)
    assert kernels.run() == (30, 1)
