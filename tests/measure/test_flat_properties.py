"""A flat moved, turned, mirrored, shuffled or cut up is the same flat; copies in inch are the same size in mm."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from parts.flats import cut_up, loop, mirrored, moved, plate, polygon, rectangle, ring, sheet, shuffled, slot, turned

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Arc, Circle, Line, Shape, Sheet


def drawing(seed: int) -> Sheet:
    """A plate with a few holes, slots and windows by chance, crossing or near each other as it falls."""
    chance = random.Random(seed)
    drawn: list[Shape | list[Line]] = list(plate(100, 60))
    for _ in range(chance.randint(2, 7)):
        x, y, r = chance.uniform(8, 92), chance.uniform(8, 52), chance.uniform(0.5, 6)
        what = chance.randrange(5)
        if what == 0:
            drawn.append(Circle((x, y), r))
        elif what == 1:
            drawn += slot(x, y, 4 * r, 1.5 * r)
        elif what == 2:
            drawn.append(loop(polygon(x, y, r, chance.randint(3, 12), chance.uniform(0, 90))))
        elif what == 3:
            drawn += ring(rectangle(x, y, r, 2 * r))
        else:
            half = chance.uniform(30, 170)
            drawn += [Arc((x, y), r, half, half + 180), Arc((x, y), r, half + 180, half + 360)]
    return sheet(*drawn)


def facts(flat: Sheet) -> dict[str, Any]:
    """What does not depend on where and how the flat lies, nor on the order of its entities."""
    m = FlatMeasurements(flat, Choices(thickness_mm=2.0), None)
    return {
        "contours": sorted((x.role, x.depth, round(x.area_mm2, 4)) for x in m.contours),
        "area": round(m.area_mm2, 2),
        "holes": sorted(round(x.diameter_mm, 4) for x in m.holes),
        "slots": sorted((round(x.width_mm, 2), round(x.length_mm, 2), x.round_ends) for x in m.slots),
        "webs": sorted(round(x.width_mm, 3) for x in m.webs(3.0)),
        "necks": sorted(round(x.width_mm, 3) for x in m.necks(3.0)),
        "narrow slots": sorted(round(x.width_mm, 3) for x in m.narrow_slots(3.0)),
        "crossings": (len(m.self_crossings), len(m.overlaps)),
        "open": sorted((x.kind, round(x.length_mm, 3)) for x in m.open_chains),
        "corners": len(m.inside_corners),
        "trouble": m.trouble,
    }


def alike(one: dict[str, Any], other: dict[str, Any]) -> None:
    """Equal but for rounding at the last digit."""
    for key, value in one.items():
        flat = _numbers(value)
        assert _numbers(other[key]) == pytest.approx(flat, abs=2e-2 if key in ("area", "slots") else 2e-3), key


def _numbers(value: Any) -> Any:
    if isinstance(value, (list, tuple)):
        return [y for x in value for y in _numbers(x)]
    return [float(len(value)) if isinstance(value, str) else float(value)]


seeds = st.integers(0, 100_000)
slow = settings(max_examples=25, deadline=None)


@slow
@given(seeds, st.floats(-2000, 2000), st.floats(-2000, 2000))
def test_moved(seed: int, dx: float, dy: float) -> None:
    alike(facts(drawing(seed)), facts(moved(drawing(seed), dx, dy)))


@slow
@given(seeds, st.floats(0, 360))
def test_turned(seed: int, degrees: float) -> None:
    alike(facts(drawing(seed)), facts(turned(drawing(seed), degrees)))


@slow
@given(seeds)
def test_mirrored(seed: int) -> None:
    alike(facts(drawing(seed)), facts(mirrored(drawing(seed))))


@slow
@given(seeds, seeds)
def test_entities_in_another_order_and_the_other_way_round(seed: int, order: int) -> None:
    alike(facts(drawing(seed)), facts(shuffled(drawing(seed), order)))


@slow
@example(16730, 1)  # an island that is narrow both ways
@example(200467, 200474)
@example(202721, 202728)  # contours that lie over each other by 1.4 um
@example(203943, 203950)
@given(seeds, seeds)
def test_lines_and_arcs_cut_up(seed: int, cuts: int) -> None:
    one, other = facts(drawing(seed)), facts(cut_up(drawing(seed), cuts))
    # Where contours cross, part of a narrow place may lie behind another contour, and a cut opens the view of it.
    assume(one["crossings"] == (0, 0))
    alike(one, other)


@slow
@given(seeds, st.floats(0.3, 3.0), st.floats(0.0, 0.29))
def test_a_looser_limit_never_adds_a_place(seed: int, limit: float, looser: float) -> None:
    m = FlatMeasurements(drawing(seed), Choices(thickness_mm=2.0), None)
    for measure in (m.webs, m.necks, m.details):
        tight = {(x.contours, x.start, x.end) for x in measure(limit)}
        assert {(x.contours, x.start, x.end) for x in measure(limit - looser)} <= tight
    # Of a cutout that is narrow both ways the narrower is given.
    assert {x.contours for x in m.narrow_slots(limit - looser)} <= {x.contours for x in m.narrow_slots(limit)}


@slow
@given(seeds)
def test_widths_agree_with_a_dense_search(seed: int) -> None:
    """No two contours of a part come nearer each other than the thinnest web between them says (shapely)."""
    import shapely

    m = FlatMeasurements(drawing(seed), Choices(thickness_mm=2.0), None)
    webs: dict[tuple[int, int], float] = {}
    for x in m.webs(3.0):
        key = min(x.contours), max(x.contours)
        webs[key] = min(webs.get(key, math.inf), x.width_mm)
    crossing = {x.contours for x in m.overlaps}
    rims = [shapely.linearrings(x.points) for x in m.contours]
    for one in m.contours:
        for other in m.cutouts:
            together = other.parent in (one.number, one.parent) and one.role != "island"
            pair = min(one.number, other.number), max(one.number, other.number)
            if one.number == other.number or not together or pair in crossing:
                continue
            distance = float(shapely.distance(rims[one.number], rims[other.number]))
            # Within a millimetre nothing else fits between, so that the web must be there.
            if 0.02 < distance < 1.0 and not _something_between(m, pair):
                assert webs.get(pair, math.inf) == pytest.approx(distance, abs=0.011), pair


def _something_between(m: FlatMeasurements, pair: tuple[int, int]) -> bool:
    import shapely

    one, other = (shapely.linearrings(m.contours[k].points) for k in pair)
    way = shapely.shortest_line(one, other)
    rims = [shapely.linearrings(x.points) for x in m.contours if x.number not in pair]
    return any(shapely.intersects(way, x) for x in rims)
