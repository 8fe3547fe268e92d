"""Which unit is assumed where the file states none, and what is said about it."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable
from lintsvc.readers.doubtful_units import guess_units


@pytest.mark.parametrize(
    ("size", "kind", "value", "other"),
    [
        ((40, 20, 5), "body", "mm", "in"),
        ((1.0, 1.0, 1.0), "body", "mm", "in"),
        ((0.99, 0.5, 0.2), "body", "in", "m"),
        ((0.3, 0.1, 0.1), "body", "m", "in"),
        ((0.31, 0.1, 0.1), "body", "in", "m"),
        ((0.044, 0.014, 0.047), "body", "m", "in"),
        ((500, 20, 5), "body", "mm", None),
        ((50_000, 40_000, 900), "body", "mm", "micron"),
        ((2.0, 1.0), "sheet", "in", "m"),
        ((4.0, 1.0), "sheet", "mm", "in"),
        ((0.25, 0.1), "sheet", "m", "in"),
    ],
)
def test_rule_as_documented(size: tuple[float, ...], kind: str, value: str, other: str | None) -> None:
    units = guess_units(size, kind)  # type: ignore[arg-type]
    assert (units.value, units.other, units.stated) == (value, other, False)
    assert units.why.endswith(".")
    assert (units.other_size_mm is None) == (other is None)


def test_other_size_is_that_of_the_other_unit() -> None:
    units = guess_units((40, 20, 5), "body")
    assert units.other_size_mm == pytest.approx((1016, 508, 127))
    assert guess_units((40, 20), "sheet").other_size_mm == pytest.approx((1016, 508, 0))


def test_part_in_metres_comes_out_in_mm(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.binary_stl(*made.box(0.044, 0.014, 0.047)))
    assert part.units.value == "m"
    assert not part.units.stated
    assert part.size_mm == pytest.approx((44, 14, 47), rel=1e-6)
    assert part.body is not None
    assert part.body.vertices.max() == pytest.approx(47, rel=1e-6)


def test_word_of_the_user_wins(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.binary_stl(*made.box(5, 2.5, 1.375)), units="in")
    assert part.size_mm == pytest.approx((127, 63.5, 34.925))
    assert part.units.stated
    with pytest.raises(Unreadable, match="no unit called"):
        read_bytes(tmp_path, made.binary_stl(*made.box()), units="furlong")
