"""A broken outline is bridged for measuring: what lies on the sheet stays what it is."""

from __future__ import annotations

import pytest

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.measure.meant_sheet import meant_sheet
from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Circle, Entity, Line, Point2, Polyline, Shape, Sheet


def flat(*shapes: Shape) -> FlatMeasurements:
    entities = tuple(Entity(i, f"#{i}", "shape", "0", (x,)) for i, x in enumerate(shapes))
    return FlatMeasurements(Sheet(entities, 0.01), Choices(), None)


def outline(*points: Point2) -> Polyline:
    return Polyline(points)


SQUARE = ((0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (0.0, 40.0))


def test_whole_outline_is_left_as_it_is() -> None:
    measured = flat(outline(*SQUARE, SQUARE[0]), Circle((20.0, 20.0), 3.0))
    sheet = meant_sheet(measured)
    assert not sheet.why_not
    assert [x.number for x in sheet.cutouts] == [x.number for x in measured.cutouts] == [1]
    assert len(sheet.outlines) == 1 and len(sheet.rings) == 2


@pytest.mark.parametrize("gap", [0.4, 2.0])
def test_hole_in_an_outline_with_a_gap_is_a_hole(gap: float) -> None:
    measured = flat(outline(*SQUARE, (0.0, gap)), Circle((20.0, 20.0), 3.0))
    assert not measured.holes
    sheet = meant_sheet(measured)
    (hole,) = sheet.holes
    assert hole.diameter_mm == pytest.approx(6.0)
    assert hole.centre_mm == pytest.approx((20.0, 20.0))
    assert len(sheet.outlines) == 1 and len(sheet.rings) == 2


def test_outline_in_two_pieces_with_two_gaps() -> None:
    measured = flat(
        outline((0.5, 0.0), (60.0, 0.0), (60.0, 39.5)),
        outline((59.5, 40.0), (0.0, 40.0), (0.0, 0.5)),
        Circle((20.0, 20.0), 3.0),
        Circle((40.0, 20.0), 2.0),
    )
    sheet = meant_sheet(measured)
    assert sorted(x.diameter_mm for x in sheet.holes) == pytest.approx([4.0, 6.0])
    assert len(sheet.outlines) == 1


def test_broken_cutout_in_a_whole_outline_is_a_cutout() -> None:
    window = outline((10.0, 10.0), (30.0, 10.0), (30.0, 30.0), (10.0, 30.0), (10.0, 10.6))
    sheet = meant_sheet(flat(outline(*SQUARE, SQUARE[0]), window))
    assert len(sheet.rings) == 2 and len(sheet.outlines) == 1


def test_lines_that_make_no_outline_say_so() -> None:
    assert meant_sheet(flat(Line((0.0, 0.0), (60.0, 0.0)))).why_not == "the flat has no closed outline"
    assert meant_sheet(flat()).why_not == "the flat has no closed outline"
