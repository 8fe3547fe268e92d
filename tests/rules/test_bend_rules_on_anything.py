"""Whatever is drawn, the rules about bends, threads and countersinks end without failing."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from parts.any_report import ended_well

from lintsvc.model.choices import Choices, CountersinkChoice, ThreadChoice
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Bend, Circle, Entity, Line, Polyline, Sheet
from lintsvc.model.units import Units
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_packs

PACKS = ("bend", "thread", "countersink")
RULES = [rule for pack in load_packs(installed=False) if pack.name in PACKS for rule in pack.rules]

# Coordinates on a coarse grid, so that things meet, lie on each other and cross in corners.
number = st.one_of(st.integers(-3, 12).map(lambda x: x * 10.0), st.floats(-40, 130).map(lambda x: round(x, 4)))
point = st.tuples(number, number)
size = st.one_of(st.floats(0.0, 40.0).map(lambda x: round(x, 4)), st.sampled_from([0.0, 5.0, 10.0]))
shape = st.one_of(
    st.builds(Line, point, point),
    st.builds(Circle, point, size),
    st.builds(Arc, point, size, st.floats(0, 360), st.floats(0, 720)),
    st.lists(point, min_size=1, max_size=9).map(lambda x: Polyline((*x, x[0]))),
)
bend = st.builds(
    Bend,
    point,
    point,
    st.one_of(st.none(), st.floats(-10, 400), st.just(90.0)),
    st.sampled_from(["up", "down", None]),
    st.one_of(st.none(), st.floats(0, 60)),
)
plate = st.just(Polyline(((0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0), (0.0, 0.0))))


names = st.sampled_from(["M4", "1/4-20", "nut"])


@st.composite
def parts(draw: Any) -> tuple[Part, Choices]:
    shapes = [*draw(st.lists(plate, max_size=1)), *draw(st.lists(shape, max_size=8))]
    layers = st.sampled_from(["CUT", "TAP_M4", "CSK_M5", "TAP_M99"])
    entities = tuple(Entity(i, f"#{i}", "x", draw(layers), (x,)) for i, x in enumerate(shapes))
    sheet = Sheet(entities, 0.01, bends=tuple(draw(st.lists(bend, max_size=5))))
    choices = Choices(
        process="sheet",
        material=draw(st.sampled_from([None, "aluminium-5052-h32", "acrylic", "copper", "felt"])),
        thickness_mm=draw(st.sampled_from([None, 0.1, 2.0, 12.0])),
        threads=tuple(ThreadChoice(name, x) for name, x in draw(st.lists(st.tuples(names, point), max_size=2))),
        countersinks=tuple(CountersinkChoice("M5", x) for x in draw(st.lists(point, max_size=2))),
    )
    return Part("x.dxf", "0", "DXF", "sheet", Units("mm", True, ""), (100.0, 80.0, 0.0), sheet=sheet), choices


@settings(max_examples=60, deadline=None)
@given(parts())
def test_rules_end_without_failing(drawn: tuple[Part, Choices]) -> None:
    part, choices = drawn
    report = check_part(part, choices, RULES).report
    ended_well(report, RULES)
