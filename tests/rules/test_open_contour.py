"""A contour that does not close: both lines that leave a gap are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import built_in_folder, load_pack


def named(tmp_path: Path, *paths: str) -> list[tuple[int, ...]]:
    """Return which lines the rule names, finding by finding, in a drawing of these paths."""
    lines = "".join(f'<path d="{x}"/>' for x in paths)
    (tmp_path / "flat.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">{lines}</svg>', "utf-8"
    )
    (rule,) = [x for x in load_pack(built_in_folder() / "sheet").rules if x.id == "sheet/open-contour"]
    report = check_file(tmp_path / "flat.svg", Choices(process="sheet", thickness_mm=2.0), [rule]).report
    return [x.where.entities for x in report.findings if x.where is not None]


@pytest.mark.parametrize(
    ("paths", "entities"),
    [
        (("M5 5H65V45", "M64.5 45H5V5"), (0, 1)),
        (("M5 5H65V45", "M64.5 45H5V5", "M20 20h10v10h-10z"), (0, 1)),
        # One line misses its own beginning.
        (("M5 5H65V45H5V5.5",), (0,)),
    ],
)
def test_every_line_at_a_gap_is_named(tmp_path: Path, paths: tuple[str, ...], entities: tuple[int, ...]) -> None:
    assert named(tmp_path, *paths) == [entities]
