"""Solids are built in a process of their own: a crash there refuses the file and leaves the reader standing."""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from parts import bent_solids
from parts.reading import read_file

from lintsvc import child_process
from lintsvc.model.part import Part, Unreadable
from lintsvc.readers.step_apart import built_apart


@pytest.fixture(scope="module")
def offset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = next(x for x in bent_solids.PARTS if x.name == "offset")
    return bent_solids.written(made.make(), tmp_path_factory.mktemp("apart") / "offset.step")


def test_a_crash_is_a_damaged_file() -> None:
    def crash() -> Part:
        os.kill(os.getpid(), signal.SIGSEGV)
        raise AssertionError

    with pytest.raises(Unreadable, match="crashes") as caught:
        built_apart(crash)
    assert caught.value.where == "ended by signal SIGSEGV"


def test_a_refusal_comes_back_as_it_was_raised() -> None:
    def refuse() -> Part:
        raise Unreadable("Why.", "where", "What to do.")

    with pytest.raises(Unreadable) as caught:
        built_apart(refuse)
    assert (caught.value.why, caught.value.where, caught.value.remedy) == ("Why.", "where", "What to do.")


def test_a_mistake_of_ours_is_no_damaged_file() -> None:
    def fail() -> Part:
        raise KeyError("x")

    with pytest.raises(RuntimeError, match="KeyError"):
        built_apart(fail)


def children() -> set[int]:
    """Processes of this one, ended ones that nobody waited for among them: other tests have some of their own."""
    found = set()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if int(stat.read_text().rpartition(")")[2].split()[1]) == os.getpid():
                found.add(int(stat.parent.name))
    return found


def test_no_process_is_left_behind(offset: Path) -> None:
    before = children()
    read_file(offset)
    assert children() <= before


def test_built_apart_and_in_place_are_the_same(offset: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    apart = read_file(offset)

    def refused() -> int:
        raise PermissionError("fenced in")

    monkeypatch.setattr(child_process.os, "fork", refused)
    in_place = read_file(offset)
    assert (apart.size_mm, apart.notes, apart.units) == (in_place.size_mm, in_place.notes, in_place.units)
    for one, other in ((apart.body, in_place.body),):
        assert one is not None
        assert other is not None
        assert np.array_equal(one.faces, other.faces)
        assert np.array_equal(one.vertices, other.vertices)
        assert np.array_equal(one.face_patch, other.face_patch)
        assert (len(one.exact.solids), len(one.exact.faces)) == (len(other.exact.solids), len(other.exact.faces))
