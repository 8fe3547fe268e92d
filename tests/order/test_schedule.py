"""The calendar: working days, weekends and holidays as entered, what everything waits for, against the deadline."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.order.read import parse_order
from lintsvc.order.schedule import WorkDays, days_of_one_more, schedule

MONDAY = date(2026, 3, 2)
SUPPLIERS = """
[[supplier]]
id = "laser"
lead_days = 5
transport_days = 2
[[supplier]]
id = "powder"
lead_days = 8
transport_days = 2
[[supplier]]
id = "anodiser"
lead_days = 4
transport_days = 1
"""
ORDER = """
[order]
order_on = 2026-03-02
need_by = {need_by}
assembly_days = 1
[[part]]
id = "bracket"
file = "bracket.dxf"
supplier = "laser"
then = ["anodiser"]
[[part]]
id = "housing"
file = "housing.stl"
supplier = "powder"
[[part]]
id = "gasket"
file = "gasket.dxf"
"""


def order(need_by: str = "2026-03-20", more: str = "", suppliers: str = SUPPLIERS):
    return parse_order(ORDER.format(need_by=need_by) + suppliers + more)


weekends = st.sets(st.integers(0, 6), max_size=4)
days = st.dates(date(2025, 1, 1), date(2030, 1, 1))


@given(days, st.integers(0, 60), weekends, st.lists(days, max_size=5))
def test_working_days_are_counted_as_numpy_counts_them(day, count, weekend, holidays) -> None:
    """Outside check: numpy's own business-day calendar."""
    works = WorkDays(frozenset(weekend), tuple((x, x) for x in holidays))
    mask = [i not in weekend for i in range(7)]
    found = works.after(day, count)
    if count:
        # The day itself does not count: from the next one on, the first working day is number 0.
        expected = np.busday_offset(
            np.datetime64(day + timedelta(days=1)), count - 1, "forward", weekmask=mask, holidays=holidays
        )
        assert np.datetime64(found) == expected
    else:
        assert found == day


@given(days, st.integers(0, 40), weekends, st.lists(st.tuples(days, st.integers(0, 20)), max_size=3))
def test_latest_day_to_begin_is_the_latest(day, count, weekend, holidays) -> None:
    works = WorkDays(frozenset(weekend), tuple((x, x + timedelta(days=n)) for x, n in holidays))
    begin = works.before(day, count)
    assert works.after(begin, count) <= day
    assert works.after(begin + timedelta(days=1), count) > day


def test_order_of_the_gauge_by_hand() -> None:
    # Laser: Monday 2 + 5 = Monday 9, 2 on the way = Wednesday 11; anodiser 4 = Tuesday 17, 1 = Wednesday 18.
    # Powder: 8 = Thursday 12, 2 = Monday 16. Put together in a day: Thursday 19.
    found = schedule(order(), MONDAY)
    assert found.arrives == {"bracket": date(2026, 3, 18), "housing": date(2026, 3, 16)}
    assert found.done == date(2026, 3, 19)
    assert [(x.of, x.what, x.who) for x in found.critical] == [
        ("bracket", "made", "laser"),
        ("bracket", "on its way", "laser"),
        ("bracket", "finished", "anodiser"),
        ("bracket", "on its way", "anodiser"),
        ("", "put together", ""),
    ]
    slack = {(x.of, x.what): x.slack_days for x in found.steps}
    assert slack["housing", "on its way"] == 2
    assert slack["bracket", "finished"] == 0
    assert found.at_hand == ("gasket",)
    assert found.late_days == 0
    assert found.order_by == date(2026, 3, 3)


def test_late_by_the_days_after_the_deadline() -> None:
    found = schedule(order("2026-03-17"), MONDAY)
    assert found.late_days == 2
    assert found.order_by is not None
    assert found.order_by < MONDAY


def test_ordered_on_the_last_day_it_is_in_time_and_a_day_later_it_is_late() -> None:
    for need_by in ("2026-03-20", "2026-03-22", "2026-04-14"):
        text = ORDER.format(need_by=need_by) + SUPPLIERS
        order_by = schedule(parse_order(text), MONDAY).order_by
        assert order_by is not None
        late = []
        for day in (order_by, order_by + timedelta(days=1)):
            moved = parse_order(text.replace("order_on = 2026-03-02", f"order_on = {day.isoformat()}"))
            late.append(schedule(moved, MONDAY).late_days)
        assert late[0] == 0
        assert late[1] > 0


def test_holiday_of_a_supplier_moves_only_what_waits_for_it() -> None:
    shut = SUPPLIERS.replace('id = "anodiser"', 'id = "anodiser"\nclosed = ["2026-03-12 to 2026-03-18"]')
    found = schedule(order(suppliers=shut), MONDAY)
    assert found.arrives["bracket"] == date(2026, 3, 25)
    assert found.arrives["housing"] == date(2026, 3, 16)


def test_parcel_that_comes_on_our_own_holiday_waits() -> None:
    text = ORDER.format(need_by="2026-04-30").replace("assembly_days = 1", 'closed = ["2026-03-18 to 2026-03-22"]')
    assert schedule(parse_order(text + SUPPLIERS), MONDAY).done == date(2026, 3, 23)


def test_what_nobody_said_is_named_and_what_nobody_delivers_is_at_hand() -> None:
    found = schedule(order(suppliers=SUPPLIERS.replace("lead_days = 8\n", "")), MONDAY)
    assert found.unknown == ("how many days powder takes (lead_days)",)
    alone = schedule(parse_order('[[part]]\nid = "a"\nfile = "a.stl"\n'), MONDAY)
    assert alone.done == MONDAY
    assert alone.order_by is None
    assert alone.at_hand == ("a",)


def test_one_more_part_takes_its_whole_way_again() -> None:
    found = order()
    assert days_of_one_more(found, found.part[0]) == 5 + 2 + 4 + 1
    assert days_of_one_more(found, found.part[2]) is None


def test_calendar_that_never_works_is_refused() -> None:
    week = '["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]'
    shut = SUPPLIERS.replace('id = "powder"', f'id = "powder"\nweekend = {week}')
    with pytest.raises(ValueError, match="no working day"):
        schedule(order(suppliers=shut), MONDAY)
