"""The demo as an order: nothing is found in the good one, and every planted misfit in the other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from lintsvc.demo import MISFITS, write_demo
from lintsvc.model.report import OrderReport
from lintsvc.order import stiffness
from lintsvc.order.check import check_order
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.load import load_here
from lintsvc.rulebook.packs import load_packs

RULES = [rule for pack in load_packs(installed=False) for rule in pack.rules]


@pytest.fixture(scope="module", autouse=True)
def only_the_chosen_thickness() -> Iterator[None]:
    """Other thicknesses to compare are held in the tests of stiffness; here they would cost the most."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stiffness, "_other_thicknesses", lambda *_: [])
        yield


@pytest.fixture(scope="module")
def orders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[CheckedOrder, OrderReport]]:
    folder = tmp_path_factory.mktemp("gauge")
    write_demo(folder)
    found = {}
    for name in ("good", "faulty", "misfit"):
        checked = load_here(folder / name / "order.toml")
        found[name] = checked, check_order(checked, RULES)
    return found


def test_the_good_order_has_no_finding_and_every_rule_is_checked(
    orders: dict[str, tuple[CheckedOrder, OrderReport]],
) -> None:
    report = orders["good"][1]
    assert [x.message for x in report.findings] == []
    assert [(x.rule, x.why) for x in report.not_checked] == []
    assert set(report.checked) == {x.id for x in RULES if "order" in x.kinds}


def test_every_planted_misfit_is_found_and_nothing_else(
    orders: dict[str, tuple[CheckedOrder, OrderReport]],
) -> None:
    report = orders["misfit"][1]
    assert sorted(x.rule for x in report.findings) == sorted(MISFITS)
    assert not report.not_checked


def test_of_the_faulty_order_only_the_gasket_s_holes_are_told_and_what_a_bend_without_direction_leaves_open(
    orders: dict[str, tuple[CheckedOrder, OrderReport]],
) -> None:
    report = orders["faulty"][1]
    assert [(x.rule, x.parts) for x in report.findings] == [("fit/holes-do-not-meet", ("lid", "gasket"))]
    assert {x.why for x in report.not_checked if "is not folded" in x.why} != set()


def test_the_parts_of_the_misfit_order_are_good_by_themselves(tmp_path: Path) -> None:
    write_demo(tmp_path)
    checked = load_here(tmp_path / "misfit" / "order.toml", RULES)
    for part in checked.parts:
        assert [x.rule for x in part.report.findings if x.level != "note"] == []


def test_the_housing_stands_on_the_shelf_and_looks_away_from_the_mast(
    orders: dict[str, tuple[CheckedOrder, OrderReport]],
) -> None:
    checked = orders["good"][0]
    housing = checked.placing.of("housing")
    assert housing is not None
    low, high = checked.things["housing"].shape.box
    corners = [housing.place @ [x, y, z, 1] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (0.0,)]
    # The shelf's upper face is 112.88 mm above the plate's lower end; the mast is on the side of positive y.
    assert {round(float(x[2]), 2) for x in corners} == {112.88}
    assert max(float(x[1]) for x in corners) < 0
    assert checked.placing.missing == {}
