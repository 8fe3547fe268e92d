"""Every report's text is as it was last read by a person; `parts.snapshots` writes them anew."""

from __future__ import annotations

import pytest
from parts.snapshots import FOLDER, SNAPSHOTS


@pytest.mark.parametrize("name", SNAPSHOTS)
def test_report_is_as_it_was_read_last(name: str) -> None:
    assert SNAPSHOTS[name]() == (FOLDER / name).read_text("utf-8")


def test_no_snapshot_is_left_over() -> None:
    assert {x.name for x in FOLDER.iterdir()} == set(SNAPSHOTS)
