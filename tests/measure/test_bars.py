"""Bars of every proportion: one answer for all copies of a part, and the true one."""

from __future__ import annotations

import numpy as np
import pytest
from parts import bars, bodies

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.place import Place

PIN, WALL = 1.0, 0.8


def told(mesh: bodies.Mesh) -> list[tuple[str, Place]]:
    """What the rules for pins and walls tell, by their limits."""
    body = BodyMeasurements(bodies.body(mesh))
    pins = [x for x in body.thin_places(PIN) if x.slender and not x.slight(PIN)]
    walls = [x for x in body.thin_places(WALL) if not x.slight(WALL) and (x.stub or not (x.round or x.low))]
    return [*(("pin", x) for x in pins), *(("wall", x) for x in walls)]


def hold(bar: bars.Bar, seed: int) -> None:
    first: list[tuple[str, Place]] | None = None
    for mesh in bars.copies(bars.standing(bar), seed):
        found = told(mesh)
        first = found if first is None else first
        assert [kind for kind, _ in found] == [kind for kind, _ in first]
        assert [x.width_mm for _, x in found] == pytest.approx([x.width_mm for _, x in first], rel=0.02)
        assert [x.long_mm for k, x in found if k == "pin"] == pytest.approx(
            [x.long_mm for k, x in first if k == "pin"], rel=0.03
        )
        if bar.kind:
            ((kind, place),) = found
            assert kind == bar.kind
            # A dome begins as steep as a side with a draft.
            tip = 0.05 if bar.tip == "dome" and bar.draft_deg > 3 else 0.02
            assert place.width_mm == pytest.approx(bar.width, rel=tip)
            if kind == "pin":
                assert place.long_mm == pytest.approx(bar.whole, rel=0.04, abs=bar.fillet)


@pytest.mark.parametrize("seed", range(16))
def test_bar_is_told_for_what_it_is_and_alike_in_all_copies(seed: int) -> None:
    hold(bars.any_bar(seed), seed)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("ratio", "kind"), [(1.3 / 0.7, "pin"), (1.9, ""), (2.15, "wall")])
def test_rectangle_about_twice_as_broad_as_thick_is_one_of_both(ratio: float, kind: str, seed: int) -> None:
    bar = bars.Bar(0.7, 2.9, 0, ratio, 20.0 + 35.0 * seed)
    assert bar.kind == kind
    hold(bar, seed)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("draft_deg", [7.5, 9.0, 12.0])
@pytest.mark.parametrize(("corners", "ratio"), [(0, 1.2), (0, 2.6), (4, 1.0), (32, 1.0)])
def test_draft_of_up_to_twelve_degrees_a_side_hides_nothing(
    corners: int, ratio: float, draft_deg: float, seed: int
) -> None:
    hold(bars.Bar(0.45, 2.2, corners, ratio, 15.0 + 40.0 * seed, draft_deg), seed)


@pytest.mark.parametrize("draft_deg", [8.2, 12.0])
def test_what_is_thin_at_its_tip_only_is_no_wall(draft_deg: float) -> None:
    """A tooth 0.7 mm thick at its tip and over 0.8 mm from a third of a millimetre below."""
    found = told(bars.standing(bars.Bar(0.7, 1.0, 0, 3.0, 10.0, draft_deg)))
    assert [kind for kind, _ in found] == []


def test_places_of_a_bar_are_in_it() -> None:
    bar = bars.Bar(0.5, 3.0, 0, 1.4, 30.0, 8.0)
    ((_, pin),) = told(bars.standing(bar))
    middle = np.array(pin.where().point)
    assert np.linalg.norm(middle[:2] - (1.3, 2.1)) < 0.5
    assert 0.0 <= middle[2] <= 3.0
