"""Two reports compared: what is gone, new and changed; renamed files are known; rounding is no change."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from parts import reports

from lintsvc.model.report import HoleShown, PartReport, Report
from lintsvc.reports.comparing import PartChange, compare, markdown, text, to_dict


def only(old: PartReport | None, new: PartReport | None) -> PartChange:
    (found,) = compare(Report(() if old is None else (old,)), Report(() if new is None else (new,)))
    return found


def with_part(part: PartReport, **changes: Any) -> PartReport:
    assert part.part is not None
    return replace(part, part=replace(part.part, **changes))


def test_same_report_twice_has_nothing_to_say() -> None:
    found = compare(reports.whole_report(), reports.whole_report())
    assert [x.quiet for x in found] == [True, True, True]
    # The unreadable one has no hash, so its content is not known to be the same.
    assert [x.same_content for x in found] == [True, True, False]
    assert text(found) == "0 findings new, 0 gone; 3 files unchanged\n"


def test_findings_gone_and_new_are_told_apart_by_fingerprint() -> None:
    new = reports.thin_wall(fingerprint="f" * 16)
    found = only(reports.housing_report(), reports.housing_report(reports.thin_wall(), new))
    assert found.added == (new,)
    assert found.gone == (reports.open_edge(),)
    assert found.kept == 1


def test_one_of_two_alike_is_new() -> None:
    found = only(
        reports.housing_report(reports.thin_wall()), reports.housing_report(reports.thin_wall(), reports.thin_wall())
    )
    assert (len(found.added), len(found.gone), found.kept) == (1, 0, 1)


def test_changed_facts_are_named_with_their_units() -> None:
    old = reports.bracket_report()
    new = with_part(
        replace(old, sha256="ee" * 32),
        size_mm=(110.0, 60.0, 0.0),
        mass_g=42.0,
        holes=(HoleShown(4.2, (20.0, 30.0)), HoleShown(4.2, (60.0, 30.0))),
    )
    found = only(old, new)
    assert [(x.what, x.old, x.new) for x in found.changes] == [
        ("size", "100 × 60 mm", "110 × 60 mm"),
        ("mass", "38.18 g", "42 g"),
        ("round holes", "1 × 4.2 mm", "2 × 4.2 mm"),
    ]
    assert not found.same_content


@pytest.mark.parametrize(("share", "changes"), [(5e-5, 0), (5e-4, 1)])
def test_rounding_of_an_export_is_no_change(share: float, changes: int) -> None:
    old = reports.housing_report()
    assert len(only(old, with_part(old, volume_mm3=14400.0 * (1 + share))).changes) == changes


def test_renamed_file_is_one_file_and_a_copy_is_a_new_one() -> None:
    renamed = only(reports.housing_report(), reports.housing_report(file="box.stl"))
    assert (renamed.old, renamed.new, renamed.added) == ("housing.stl", "box.stl", ())
    both = compare(
        Report((reports.housing_report(),)), Report((reports.housing_report(), reports.housing_report(file="box.stl")))
    )
    assert [(x.old, x.new) for x in both] == [("housing.stl", "housing.stl"), (None, "box.stl")]


def test_file_that_came_or_went_is_told() -> None:
    assert "housing.stl: new file" in text((only(None, reports.housing_report()),))
    assert "housing.stl: no longer there" in text((only(reports.housing_report(), None),))


def test_file_that_can_no_longer_be_read_is_told() -> None:
    found = only(reports.housing_report(), reports.unreadable_report("housing.stl"))
    assert ("readable", "yes", "no") in [(x.what, x.old, x.new) for x in found.changes]


def test_json_and_markdown_say_the_same() -> None:
    found = compare(Report((reports.housing_report(),)), Report((reports.housing_report(reports.small_hole()),)))
    data = json.loads(json.dumps(to_dict(found), allow_nan=False))
    assert [x["rule"] for x in data["parts"][0]["added"]] == ["sheet/hole-too-small"]
    assert len(data["parts"][0]["gone"]) == 2
    assert markdown(found).startswith("**housing.stl**\n\n- new   warning sheet/hole-too-small: ")
