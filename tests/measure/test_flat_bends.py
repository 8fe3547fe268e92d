"""Bends of a flat: bend lines with what the file and the user say of them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from parts.flats import plate, sheet

from lintsvc.measure.flat_bends import bends_of
from lintsvc.model.choices import Choices
from lintsvc.model.sheet import Bend, Entity, Line, Polyline, Sheet


def bent(*lines: Line | Polyline, **said: object) -> Sheet:
    flat = sheet(*plate())
    more = tuple(
        Entity(4 + k, f"#{4 + k}", "line", "BEND", (x,), role="bend", role_why="its layer's name says bend", **said)  # type: ignore[arg-type]
        for k, x in enumerate(lines)
    )
    return replace(flat, entities=flat.entities + more)


ACROSS = Line((30.0, 0.0), (30.0, 60.0))


def test_what_is_not_said_is_not_known() -> None:
    (bend,) = bends_of(bent(ACROSS), Choices())
    assert (bend.angle_deg, bend.direction, bend.radius_mm, bend.k_factor) == (None, None, None, None)
    assert (bend.start, bend.end, bend.entity) == ((30.0, 0.0), (30.0, 60.0), 4)


def test_what_the_file_says_is_taken() -> None:
    (bend,) = bends_of(bent(ACROSS, bend_angle_deg=90.0, bend_direction="up", bend_radius_mm=2.0), Choices())
    assert (bend.angle_deg, bend.direction, bend.radius_mm) == (90.0, "up", 2.0)


@pytest.mark.parametrize(
    "said",
    [
        Bend((30, 0), (30, 60), angle_deg=45.0, direction="down"),
        Bend((30.5, 55), (30.2, 5), angle_deg=45.0, direction="down"),
        Bend((30, 30), (30, 30), angle_deg=45.0, direction="down"),
        Bend((0, 0), (0, 0), angle_deg=45.0, direction="down", entity=4),
    ],
)
def test_the_users_word_goes_first_where_it_means_the_line(said: Bend) -> None:
    drawn = bent(ACROSS, bend_angle_deg=90.0, bend_direction="up", bend_radius_mm=2.0)
    (bend,) = bends_of(drawn, Choices(bends=(said,)))
    assert (bend.angle_deg, bend.direction, bend.radius_mm) == (45.0, "down", 2.0)
    assert "by the user" in bend.why


def test_a_bend_elsewhere_is_another_bend() -> None:
    for said in (Bend((60, 0), (60, 60), 90.0), Bend((0, 30), (100, 30), 90.0)):
        bends = bends_of(bent(ACROSS), Choices(bends=(said,)))
        assert len(bends) == 2 and "no bend line is drawn there" in bends[1].why


def test_shop_values_fill_what_is_left_open() -> None:
    choices = Choices(bend_radius_mm=1.5, k_factor=0.42)
    (bend,) = bends_of(bent(ACROSS, bend_radius_mm=3.0), choices)
    assert (bend.radius_mm, bend.k_factor) == (3.0, 0.42)
    (bend,) = bends_of(bent(ACROSS), choices)
    assert bend.radius_mm == 1.5


def test_lines_drawn_twice_and_straight_polylines_are_one_bend_each() -> None:
    straight = Polyline(((60.0, 0.0), (60.0, 25.0), (60.0, 60.0)))
    crooked = Polyline(((80.0, 0.0), (85.0, 25.0), (80.0, 60.0)))
    bends = bends_of(bent(ACROSS, Line(ACROSS.end, ACROSS.start), straight, crooked), Choices())
    assert [x.start[0] for x in bends] == [30.0, 60.0]


def test_bends_of_a_solid_come_first_and_are_not_doubled() -> None:
    known = Bend((30.0, 0.0), (30.0, 60.0), 90.0, "up", 2.0, 0.44, why="unfolded")
    bends = bends_of(replace(bent(ACROSS), bends=(known,)), Choices())
    assert bends == (known,)
