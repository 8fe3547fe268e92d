"""Real SVG flats of others: page, elements and extents agree with what was observed, and with svgelements."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from parts import flatfiles as made
from parts.reading import read_file

from lintsvc.model.part import Part

pytestmark = pytest.mark.needs_shared

SHAPES = ("rect", "circle", "ellipse", "line", "polyline", "polygon")


@pytest.fixture(scope="module")
def parts(shared: Path) -> dict[str, tuple[Part, dict[str, Any]]]:
    return {
        name: (read_file(shared / "corpus/open" / name), facts) for name, facts in made.facts_of(shared, "svg").items()
    }


def test_every_file_is_read_in_its_stated_unit(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    assert len(parts) == 6
    for name, (part, facts) in parts.items():
        assert facts["width"].endswith("mm")
        assert (part.units.value, part.units.stated) == ("mm", True), name


def test_subpaths_are_those_of_the_index(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    for name, (part, facts) in parts.items():
        assert part.sheet is not None
        paths = [x for x in part.sheet.entities if x.kind == "path"]
        assert len(paths) == facts["subpaths"], name


def test_basic_shapes_are_those_of_the_index(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    for name, (part, facts) in parts.items():
        if name == "svg/use-transform.svg":
            continue
        assert part.sheet is not None
        for kind in SHAPES:
            assert sum(x.kind == kind for x in part.sheet.entities) == facts["elements"].get(kind, 0), (name, kind)


def test_used_rectangle_is_turned(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    part, _ = parts["svg/use-transform.svg"]
    # A 20 × 10 rectangle around (20, 10), then turned by 30° about the page's corner, y down.
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    corners = [(x, y) for x in (10, 30) for y in (5, 15)]
    expected = sorted((round(c * x - s * y, 6), round(30 - (s * x + c * y), 6)) for x, y in corners)
    found = {(round(x, 6), round(y, 6)) for x, y in made.points_of(made.drawn(part)[2].shapes[0])}
    assert sorted(found) == expected


def test_extents_are_those_of_svgelements(shared: Path, parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    from svgelements import SVG, Shape

    for name, (part, _) in parts.items():
        # 96 px to the inch: svgelements gives user units of the outermost page.
        other = SVG.parse(shared / "corpus/open" / name, ppi=96)
        boxes = [b for e in other.elements() if isinstance(e, Shape) and (b := e.bbox()) is not None]
        width = (max(b[2] for b in boxes) - min(b[0] for b in boxes)) * 25.4 / 96
        height = (max(b[3] for b in boxes) - min(b[1] for b in boxes)) * 25.4 / 96
        assert part.size_mm[:2] == pytest.approx((width, height), abs=0.02), name
