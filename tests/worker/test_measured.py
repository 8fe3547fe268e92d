"""What was measured on a body is used again for other choices, and gives the same report."""

from __future__ import annotations

import errno
import json
import os
import pickle
import time
from pathlib import Path
from typing import IO, Any

import pytest
from lintsvc_worker.measured import MEASURED, MeasuredShelf, read_measured, write_measured
from lintsvc_worker.zygote_client import ChildLimits, ZygoteClient
from parts.bodies import box, join
from parts.meshfiles import binary_stl

from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

LIMITS = ChildLimits(seconds=60, step_seconds=30, memory_bytes=1 << 30, file_bytes=1 << 30)


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A block with a thin plate beside it: something is thin, and a gap is narrow."""
    block = box((20.0, 20.0, 20.0), (12, 12, 12))
    plate = box((20.0, 20.0, 0.6), (12, 12, 1))
    path = tmp_path_factory.mktemp("part") / "part.stl"
    path.write_bytes(binary_stl(*join(block, (plate[0] + (0.0, 0.0, 10.7), plate[1]))))
    return path


def entry(folder: Path) -> dict[str, Any]:
    found = json.loads((folder / "report.json").read_text())
    del found["seconds"]
    return found


def test_a_check_from_what_was_measured_says_the_same(zygote: ZygoteClient, part: Path, tmp_path: Path) -> None:
    kept = b""
    said: dict[str, dict[str, Any]] = {}
    for name, choices, lend in (
        ("first", {}, False),
        ("other", {"process": "powder-bed", "material": "tpu"}, True),
        ("anew", {"process": "powder-bed", "material": "tpu"}, False),
        # The unit that was assumed, said.
        ("said", {"units": "mm"}, True),
        ("said anew", {"units": "mm"}, False),
        # Another one: what does not depend on lengths is used again.
        ("inch", {"units": "in"}, True),
        ("inch anew", {"units": "in"}, False),
    ):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "part").write_bytes(part.read_bytes())
        if lend:
            # The file itself is not read again: it is not even there.
            (folder / "part").unlink()
            (folder / MEASURED).write_bytes(kept)
        job = {"task": "check", "name": f"{name}.stl", "choices": choices, "without": {}}
        assert zygote.run(job, folder, LIMITS, lambda _: None, lambda: True).how == "done"
        said[name] = entry(folder)
        if name == "first":
            rules = [rule for pack in load_packs(()) for rule in pack.rules]
            result = check_file(part, Choices(), rules)
            assert result.checked is not None
            write_measured(tmp_path, result.checked, 1.0)
            kept = (tmp_path / MEASURED).read_bytes()
    assert said["said"] == {**said["said anew"], "file": "said.stl"}
    assert said["said"]["part"]["units"] != said["first"]["part"]["units"]
    assert said["inch"] == {**said["inch anew"], "file": "inch.stl"}
    assert said["inch"]["part"]["size_mm"] == pytest.approx([25.4 * x for x in said["first"]["part"]["size_mm"]])
    assert said["inch"]["findings"] != said["first"]["findings"]
    assert said["other"] == {**said["anew"], "file": "other.stl"}
    assert said["other"]["findings"] != said["first"]["findings"]


def test_what_cannot_be_kept_takes_nothing_else_along(
    part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: object, file: IO[bytes], **__: object) -> None:
        file.write(b"half")
        raise OSError(errno.EFBIG, "File too large")

    monkeypatch.setattr(pickle, "dump", full)
    result = check_file(part, Choices(), ())
    assert result.checked is not None
    write_measured(tmp_path, result.checked, 1.0)
    assert not (tmp_path / MEASURED).exists()


def test_nothing_is_kept_of_what_is_quickly_measured_or_is_a_sheet(part: Path, tmp_path: Path) -> None:
    rules = [rule for pack in load_packs(()) for rule in pack.rules]
    result = check_file(part, Choices(), rules)
    assert result.checked is not None
    write_measured(tmp_path, result.checked, 0.01)
    assert read_measured(tmp_path, "a.stl", None) is None
    write_measured(tmp_path, result.checked, 1.0)
    assert read_measured(tmp_path, "a.stl", "sheet") is None
    kept = read_measured(tmp_path, "a.stl", None)
    assert kept is not None
    assert kept.part.file == "a.stl"
    assert not kept.part.units.stated
    kept = read_measured(tmp_path, "a.stl", None, "mm")
    assert kept is not None
    assert kept.part.units.stated
    # Smaller, or so large that its reader has to say whether it can be meant.
    assert read_measured(tmp_path, "a.stl", None, "micron") is None
    assert read_measured(tmp_path, "a.stl", None, "km") is None
    inch = read_measured(tmp_path, "a.stl", None, "in")
    assert inch is not None and inch.part.units.value == "in"
    # Back from another unit each coordinate would be a rounding off.
    write_measured(tmp_path, check_file(part, Choices(units="in"), rules).checked, 1.0)
    assert read_measured(tmp_path, "a.stl", None, "mm") is None


def test_the_shelf_keeps_by_content_and_unit_and_lets_old_things_go(tmp_path: Path) -> None:
    shelf = MeasuredShelf(tmp_path / "shelf")
    child = tmp_path / "child"
    child.mkdir()
    one = shelf.place("a" * 64, {"material": "pa12"}, "1")
    assert one == shelf.place("a" * 64, {"material": "tpu", "quantity": 5}, "1")
    assert one != shelf.place("a" * 64, {"units": "in"}, "1")
    assert one != shelf.place("a" * 64, {}, "2")
    (child / MEASURED).write_bytes(b"first")
    shelf.take(one, child)
    shelf.lend(one, child)
    assert (child / MEASURED).read_bytes() == b"first"
    os.utime(one, (time.time() - 3600, time.time() - 3600))
    two = shelf.place("b" * 64, {}, "1")
    shelf.take(two, child)
    assert not one.exists()
    assert two.read_bytes() == b"first"
    # More was measured meanwhile: that is kept from now on.
    shelf.lend(two, child)
    (child / MEASURED).write_bytes(b"first and more")
    shelf.take(two, child)
    assert two.read_bytes() == b"first and more"
    # Nothing kept: nothing lent, and nothing left of before.
    shelf.lend(one, child)
    assert not (child / MEASURED).exists()


def test_the_unit_that_a_file_was_read_in_may_be_said_after_all(tmp_path: Path) -> None:
    shelf = MeasuredShelf(tmp_path / "shelf")
    child = tmp_path / "child"
    child.mkdir()
    (child / "report.json").write_text(json.dumps({"part": {"units": {"value": "mm"}}}))
    none, mm, inch = (shelf.place("a" * 64, x, "1") for x in ({}, {"units": "mm"}, {"units": "in"}))
    (child / MEASURED).write_bytes(b"first")
    shelf.take(none, child)
    assert mm.read_bytes() == none.read_bytes() == b"first"
    assert not inch.exists()
    # Millimetres will do for it, in part.
    shelf.lend(inch, child)
    assert (child / MEASURED).read_bytes() == b"first"
    # What was measured in a unit that was said is not what the file alone would be read in.
    (child / MEASURED).write_bytes(b"in inches")
    (child / "report.json").write_text(json.dumps({"part": {"units": {"value": "in"}}}))
    shelf.take(inch, child)
    assert none.read_bytes() == b"first"
    # Both names go with what they name.
    for old in (none, inch):
        os.utime(old, (time.time() - 3600, time.time() - 3600))
    (child / MEASURED).write_bytes(b"other")
    shelf.take(shelf.place("b" * 64, {}, "1"), child)
    assert not any(x.exists() for x in (none, mm, inch))


def test_a_link_is_not_taken(tmp_path: Path) -> None:
    shelf = MeasuredShelf(tmp_path / "shelf")
    child = tmp_path / "child"
    child.mkdir()
    (child / MEASURED).symlink_to("/etc/hostname")
    place = shelf.place("a" * 64, {}, "1")
    shelf.take(place, child)
    assert not place.exists()
