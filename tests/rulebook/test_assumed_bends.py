"""What is taken for bends that leave something open is shown with its source, and never where it is known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from parts.planted_brackets import K, good

from lintsvc.rulebook.check import check_part


def test_k_factor_of_the_handbook_is_shown_with_its_source() -> None:
    bracket = good(1)
    report = check_part(bracket.part(), bracket.choices(), []).report
    assert report.part is not None
    assert [x.k_factor for x in report.part.bends] == pytest.approx([K] * 3)
    (assumed,) = (x for x in report.assumed if x.what == "k_factor")
    assert assumed.value == "0.407"
    assert "3 bends" in assumed.why and "Machinery's Handbook" in assumed.why


def test_shop_k_factor_is_nobodys_assumption() -> None:
    bracket = good(1)
    report = check_part(bracket.part(), replace(bracket.choices(), k_factor=0.38), []).report
    assert report.part is not None
    assert [x.k_factor for x in report.part.bends] == [0.38] * 3
    assert not report.assumed


def test_open_angle_and_radius_are_said_to_be_taken() -> None:
    bracket = good(1)
    bracket.bends[0].angle_deg = None
    part = bracket.part()
    assert part.sheet is not None
    entities = tuple(replace(x, bend_radius_mm=None) for x in part.sheet.entities)
    part = replace(part, sheet=replace(part.sheet, entities=entities))
    assumed = {x.what: x for x in check_part(part, bracket.choices(), []).report.assumed}
    assert assumed["bend angle"].value == "90°" and "1 bend;" in assumed["bend angle"].why
    assert assumed["inside radius"].value == f"{bracket.t:g} mm" and "3 bends" in assumed["inside radius"].why


def test_no_k_factor_for_what_is_not_bent() -> None:
    bracket = replace(good(1), material="acrylic")
    report = check_part(bracket.part(), bracket.choices(), []).report
    assert report.part is not None
    assert [x.k_factor for x in report.part.bends] == [None] * 3
    assert "k_factor" not in {x.what for x in report.assumed}
