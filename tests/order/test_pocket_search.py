"""Places found by themselves: box-shaped and round ones, several, none."""

from __future__ import annotations

from pathlib import Path

import pytest
from manifold3d import Manifold
from parts.orders import block, bore, printed, stl, table, write

from lintsvc.order.load import load_here
from lintsvc.order.pocket import Held

BATTERY = {"id": "thing", "shape": "box", "size": [40.0, 30.0, 20.0]}
SENSOR = {"id": "thing", "shape": "cylinder", "diameter": 20.0, "height": 15.0}


def held(folder: Path, body: Manifold, thing: dict[str, object], **more: object) -> Held:
    """The one relation of a printed body that holds a thing."""
    text = printed("case", "case.stl") + table("bought", **thing)
    text += table("relation", kind="holds", part="case", thing="thing", play=0.2, **more)
    (found,) = load_here(write(folder, text, case_stl=stl(body))).held
    return found


def boxed(*pockets: tuple[float, float], x: float = 41.0) -> Manifold:
    """A block of 120 × 60 × 30 mm with pockets from its top, 25 mm deep, by their near corners."""
    body = block(120, 60, 30)
    for left, front in pockets:
        body -= block(x, 31, 40).translate((left, front, 5))
    return body


def test_a_box_shaped_pocket(tmp_path: Path) -> None:
    found = held(tmp_path, boxed((10, 10)), BATTERY)
    assert found.why == ""
    assert found.place is not None
    assert found.place[:2, 3] == pytest.approx([30.5, 25.5], abs=0.01)
    assert found.clearance_mm == pytest.approx(0.5, abs=0.01)


def ribbed(rib: float, *, wall: bool = True) -> Manifold:
    """A tray of 120 × 60 mm with a floor of 2 mm, a wall at its right end, and two ribs 31 mm apart from there."""
    tray = block(120, 60, 2) + block(2, 60, 20).translate((118 if wall else 300, 0, 0))
    for front in (12.0, 45.0):
        tray += block(rib, 2, 10).translate((117 - rib, front, 1))
    return tray


def test_a_place_between_two_ribs_that_is_open_on_one_side(tmp_path: Path) -> None:
    found = held(tmp_path, ribbed(40), BATTERY)
    assert found.why == ""
    assert found.place is not None
    # At the wall at 118 and on the floor, with 0.2 mm to each; then in the middle of its play.
    assert found.place[:3, 3] == pytest.approx([118 - 20.2, 29.5, 12.2], abs=0.51)
    assert found.clearance_mm == pytest.approx(0.5, abs=0.02)
    # Without the wall the ribs' own length, that of the thing, says where it lies.
    found = held(tmp_path, ribbed(41, wall=False), BATTERY)
    assert found.place is not None
    assert found.place[:2, 3] == pytest.approx([117 - 20.5, 29.5], abs=0.51)


def test_between_long_ribs_it_is_asked_how_far_along_it_lies(tmp_path: Path) -> None:
    found = held(tmp_path, ribbed(90, wall=False), BATTERY)
    assert found.place is None
    assert "the only place goes through, so how far in it lies is not known: at = [72, 29.5, 12.2]" in found.why


def test_a_pocket_that_is_too_small_is_still_the_one_that_was_meant(tmp_path: Path) -> None:
    found = held(tmp_path, boxed((10, 10), x=39.6), BATTERY)
    assert found.place is not None
    assert found.clearance_mm == pytest.approx(-0.2, abs=0.01)


def test_a_thing_on_its_side(tmp_path: Path) -> None:
    found = held(tmp_path, boxed((10, 10)), {**BATTERY, "size": [30.0, 20.0, 40.0]})
    assert found.place is not None
    assert found.clearance_mm == pytest.approx(0.5, abs=0.01)


def test_a_round_pocket(tmp_path: Path) -> None:
    found = held(tmp_path, block(40, 40, 25) - bore(18, 20, 5, 30, 20.8), SENSOR)
    assert found.place is not None
    assert found.place[:3, 3] == pytest.approx([18, 20, 12.8], abs=0.3)
    assert found.clearance_mm == pytest.approx(0.4, abs=0.02)


def test_of_two_places_one_is_asked_for_and_both_are_named(tmp_path: Path) -> None:
    body = boxed((10, 10), (65, 10))
    found = held(tmp_path, body, BATTERY)
    assert found.place is None
    assert found.why == (
        "say where thing lies in case: at = [x, y, z] of its middle; there are 2 places of about its size: "
        "at = [30.5, 25.5, 15.2] (41 × 31 × open mm); at = [85.5, 25.5, 15.2] (41 × 31 × open mm)"
    )
    # What is named can be taken as it stands.
    assert held(tmp_path, body, BATTERY, at=[85.5, 25.5, 15.2]).clearance_mm > 0.19


def test_where_nothing_says_how_deep_it_lies_that_is_asked_for(tmp_path: Path) -> None:
    found = held(tmp_path, block(40, 40, 25) - bore(18, 20, -1, 30, 20.8), SENSOR)
    assert (
        "the only place goes through, so how far in it lies is not known: at = [18, 20, 12.5] (20.8 × 20.8" in found.why
    )


def test_no_place_is_said_to_be_none(tmp_path: Path) -> None:
    found = held(tmp_path, block(60, 60, 20), BATTERY)
    assert found.why.endswith("no place of about its size, with walls on both sides of it, was found")
