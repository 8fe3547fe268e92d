"""The physical size of an SVG: stated in mm, cm, in, pt; doubtful in px, per cent or without any."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

RECT = "<rect x='10' y='10' width='50' height='20'/>"
PX = 25.4 / 96


def size_of(folder: Path, size: str, body: str = RECT, units: str | None = None) -> tuple[float, float]:
    part = read_bytes(folder, made.svg(body, size), units)
    return part.size_mm[0], part.size_mm[1]


@pytest.mark.parametrize(
    ("size", "factor", "unit"),
    [
        ('width="100mm" height="100mm" viewBox="0 0 100 100"', 1, "mm"),
        ('width="10cm" height="10cm" viewBox="0 0 100 100"', 1, "cm"),
        ('width="10in" height="10in" viewBox="0 0 100 100"', 2.54, "in"),
        ('width="720pt" height="720pt" viewBox="0 0 100 100"', 2.54, "in"),
        ('width="400Q" height="400Q" viewBox="0 0 100 100"', 1, "mm"),
        ('width="100mm" viewBox="0 0 100 100"', 1, "mm"),
        ('height="200mm" viewBox="0 0 100 100"', 2, "mm"),
        ('width="100mm" height="100mm"', PX, "mm"),
    ],
)
def test_stated_sizes(tmp_path: Path, size: str, factor: float, unit: str) -> None:
    part = read_bytes(tmp_path, made.svg(RECT, size))
    assert part.size_mm == pytest.approx((50 * factor, 20 * factor, 0))
    assert (part.units.value, part.units.stated) == (unit, True)


@pytest.mark.parametrize(
    "size",
    ["", 'viewBox="0 0 100 100"', 'width="100" height="100" viewBox="0 0 100 100"', 'width="100px" height="100px"',
     'width="100%" height="100%" viewBox="0 0 100 100"'],
)  # fmt: skip
def test_sizes_that_are_not_physical_are_doubtful(tmp_path: Path, size: str) -> None:
    part = read_bytes(tmp_path, made.svg(RECT, size))
    assert part.size_mm == pytest.approx((50 * PX, 20 * PX, 0))
    assert (part.units.value, part.units.stated, part.units.other) == ("px", False, "mm")
    assert part.units.other_size_mm == pytest.approx((50, 20, 0))


def test_the_users_word_is_the_unit_of_the_numbers(tmp_path: Path) -> None:
    assert size_of(tmp_path, 'viewBox="0 0 100 100"', units="mm") == pytest.approx((50, 20))
    assert size_of(tmp_path, 'width="100" height="100"', units="in") == pytest.approx((1270, 508))
    assert size_of(tmp_path, 'width="100mm" height="100mm" viewBox="0 0 100 100"', units="mm") == pytest.approx(
        (50, 20)
    )


def test_lengths_with_units_inside_are_physical(tmp_path: Path) -> None:
    body = "<rect x='1cm' y='0' width='50mm' height='1in'/>"
    assert size_of(tmp_path, 'width="100mm" height="100mm"', body) == pytest.approx((50, 25.4))


def test_page_keeps_its_shape_unless_told_otherwise(tmp_path: Path) -> None:
    page = 'width="200mm" height="100mm" viewBox="0 0 100 100"'
    part = read_bytes(tmp_path, made.svg(RECT, page))
    assert part.size_mm == pytest.approx((50, 20, 0))
    assert "do not fit" in made.notes(part, "info")[0]
    part = read_bytes(tmp_path, made.svg(RECT, page + ' preserveAspectRatio="none"'))
    assert part.size_mm == pytest.approx((100, 20, 0))
    assert "stretched" in made.notes(part, "info")[0]
    part = read_bytes(tmp_path, made.svg(RECT, page + ' preserveAspectRatio="xMinYMin slice"'))
    assert part.size_mm == pytest.approx((100, 40, 0))


@pytest.mark.parametrize("box", ["0 0 0 0", "0 0 -1 5", "0 0 1", "a b c d", "0 0 1e999 1"])
def test_viewbox_of_no_size_is_refused(tmp_path: Path, box: str) -> None:
    with pytest.raises(Unreadable, match="viewBox"):
        size_of(tmp_path, f'width="100mm" height="100mm" viewBox="{box}"')


def test_origin_is_the_lower_left_of_the_page(tmp_path: Path) -> None:
    page = 'width="200mm" height="100mm" viewBox="-10 -10 200 100"'
    part = read_bytes(tmp_path, made.svg("<circle cx='-10' cy='-10' r='1'/><circle cx='90' cy='90' r='1'/>", page))
    assert [s.centre for e in made.drawn(part) for s in e.shapes] == [(0, 100), (100, 0)]  # type: ignore[union-attr]
