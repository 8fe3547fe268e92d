"""A wall of even thickness that goes round edges is one wall, as thick there as where it is flat."""

from __future__ import annotations

import pytest
from parts import bodies

from lintsvc.measure.bodies import BodyMeasurements

#: Facets to a quarter circle, and how far off the least width may be: coarse facets state a chord error, too.
WITHIN = {3: 2.5e-2, 4: 1.5e-2, 6: 2e-3, 8: 1.5e-3, 24: 1.5e-3}


@pytest.mark.parametrize("turn", [None, 1])
@pytest.mark.parametrize(("wall", "radius"), [(0.5, 3.0), (0.5, 1.0), (0.7, 0.9)])
@pytest.mark.parametrize("facets", WITHIN)
def test_wall_round_an_edge_is_as_thick_as_elsewhere_and_one_with_it(
    facets: int, wall: float, radius: float, turn: int | None
) -> None:
    mesh = bodies.hollow_rounded_box(wall, radius, facets)
    if turn is not None:
        mesh = bodies.turned(mesh, turn)
    found = BodyMeasurements(bodies.body(mesh)).thin_places(0.8)
    # Where the inner edge is all but sharp, the inner facets are a coarse curve themselves.
    within = WITHIN[facets] if radius > 2 * wall else max(WITHIN[facets], 0.045 if facets < 4 else 0.02)
    told = [x for x in found if not x.slight(0.8)]
    assert [x.width_mm for x in told] == pytest.approx([wall], rel=within)
    assert not told[0].round
    assert not told[0].low
    assert told[0].length_mm == pytest.approx(30, abs=1.0)


@pytest.mark.parametrize("facets", [6, 12])
def test_wall_of_exactly_the_limit_passes_round_its_edges_too(facets: int) -> None:
    measured = BodyMeasurements(bodies.body(bodies.hollow_rounded_box(0.8, 3.0, facets)))
    assert measured.thin_places(0.8) == []
    assert len(measured.thin_places(0.82)) == 1
