"""A STEP of several solids: each different one is judged as what it is, once however often it is placed."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import numpy as np
import pytest
from parts import bent_solids as made

from lintsvc.model.choices import Choices
from lintsvc.reports import json_report
from lintsvc.reports.highlights import highlights
from lintsvc.rulebook.check import Result, check_file
from lintsvc.rulebook.packs import load_packs

RULES = [x for pack in load_packs() for x in pack.rules]


@pytest.fixture(scope="module")
def gauge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two brackets with a hole 1 mm beside the bend, and a block with a 1.2 mm hole through 20 mm."""
    from build123d import Box, Compound, Cylinder, Location

    bracket = made.drill(next(p for p in made.PARTS if p.name == "open angle").make(), (35, 1, 20), (0, 1, 0), 8.0)
    bracket = bracket.solids()[0]
    bracket.label = "bracket"
    other = bracket.moved(Location((100, 20, 30), (0, 0, 90)))
    other.label = "bracket"
    block = (Box(30, 30, 20) - Cylinder(0.6, 20)).moved(Location((-60, 0, 0)))
    block.label = "block"
    folder = tmp_path_factory.mktemp("gauge")
    return made.written(Compound(label="gauge", children=[bracket, other, block]), folder / "gauge.step")


@pytest.fixture(scope="module")
def result(gauge: Path) -> Result:
    return check_file(gauge, Choices(), RULES)


def test_sheet_parts_and_prints_are_told_apart_and_instances_counted_once(result: Result) -> None:
    report = result.report
    assert [(x.name, x.count, x.process) for x in report.solids] == [
        ("bracket", 2, "sheet"),
        ("block", 1, "powder-bed"),
    ]
    bracket, block = report.solids
    assert (bracket.part.kind, len(bracket.part.bends), bracket.part.thickness_mm) == ("sheet", 1, made.T)
    assert (block.part.kind, bool(block.not_a_sheet_because)) == ("body", True)
    assert report.process is None
    assert report.part is not None
    assert (report.part.kind, report.part.bodies) == ("body", 3)
    assert any("bracket is a sheet part, placed 2 times" in x for x in report.notes)
    # It may be bought in: then it is no part to be made, and the report says how to tell.
    (asked,) = (x for x in report.notes if "bought-in" in x)
    assert asked.startswith("block is checked as a print")
    assert "leave it out of the file" in asked


def test_each_is_held_against_its_own_rules_and_named(result: Result) -> None:
    found = {(x.rule, x.message.split(":")[0]) for x in result.report.findings}
    assert ("bend/hole-near-bend", "bracket") in found
    assert ("powder-bed/small-hole", "block") in found
    assert not any(rule.startswith("powder-bed/") for rule, name in found if name == "bracket")
    assert len({x.fingerprint for x in result.report.findings}) == len(result.report.findings)


def test_findings_lie_where_they_are_in_the_file_with_the_true_faces(result: Result) -> None:
    assert result.checked is not None
    body = result.checked.part.body
    assert body is not None
    assert body.face_object is not None
    for rule, owner in (("bend/hole-near-bend", "bracket"), ("powder-bed/small-hole", "block")):
        (finding,) = (x for x in result.report.findings if x.rule == rule)
        assert finding.where is not None
        faces = np.array(finding.where.faces)
        assert {body.object_names[i] for i in body.face_object[faces].tolist()} == {owner}
        corners = body.vertices[body.faces[faces]].reshape(-1, 3)
        low, high = corners.min(axis=0), corners.max(axis=0)
        reach = 8.0
        assert (low - reach <= finding.where.point).all()
        assert (finding.where.point <= high + reach).all()
    assert highlights(result.checked.part, result.report.findings)["glb"][:4] == b"glTF"


def test_report_fits_its_schema_and_comes_back(result: Result) -> None:
    from lintsvc.model.report import Report

    data = json_report.to_dict(Report((result.report,)))
    jsonschema.validate(data, json_report.schema())
    assert json_report.from_dict(data).parts[0].solids == result.report.solids


def test_a_material_is_for_the_solids_that_it_can_be(gauge: Path) -> None:
    report = check_file(gauge, Choices(material="steel-mild"), RULES).report
    taken = {x.value for x in report.assumed if x.what == "material"}
    assert taken == {"pa12"}
    assert not any("no material is given" in x.why and "bracket" in x.why for x in report.not_checked)


def test_all_as_print_is_one_body_as_before(gauge: Path) -> None:
    report = check_file(gauge, Choices(process="powder-bed"), RULES).report
    assert report.solids == ()
    assert report.process == "powder-bed"


def test_file_of_one_bracket_placed_twice_is_one_sheet_part(tmp_path: Path) -> None:
    from build123d import Compound, Location

    plate = next(p for p in made.PARTS if p.name == "channel").make().solids()[0]
    plate.label = "channel"
    other = plate.moved(Location((0, 0, 200)))
    other.label = "channel"
    path = made.written(Compound(label="two", children=[plate, other]), tmp_path / "two.step")
    report = check_file(path, Choices(material="steel-mild"), RULES).report
    assert [(x.name, x.count) for x in report.solids] == [("channel", 2)]
    assert (report.process, report.thickness and report.thickness.value) == ("sheet", made.T)


def test_solids_that_are_no_sheet_parts_say_why_each_by_its_name(tmp_path: Path) -> None:
    from build123d import Box, Compound, Location, Sphere

    block, ball = Box(20, 20, 20), Sphere(8).moved(Location((40, 0, 0)))
    block.label, ball.label = "foot", "knob"
    path = made.written(Compound(label="pair", children=[block, ball]), tmp_path / "pair.step")
    for process in ("sheet", None):
        report = check_file(path, Choices(process=process), []).report
        told = " ".join([*report.notes, *(x.why for x in report.assumed)])
        assert "foot: its largest flat face is small against the 20 mm through it: it is a block" in told
        assert "knob: it has no flat face" in told


def test_the_other_solids_beside_a_sheet_part_say_why_once_each(tmp_path: Path) -> None:
    from build123d import Box, Compound, Location, Sphere

    plate, block, ball = Box(80, 60, 2), Box(20, 20, 20), Sphere(8)
    plate.label, block.label, ball.label = "plate", "foot", "knob"
    children = [plate, block.moved(Location((100, 0, 0))), ball.moved(Location((0, 100, 0)))]
    for child, name in zip(children, ("plate", "foot", "knob"), strict=True):
        child.label = name
    path = made.written(Compound(label="three", children=children), tmp_path / "three.step")
    report = check_file(path, Choices(process="sheet"), []).report
    (why,) = (x for x in report.notes if "Not a sheet part" in x)
    assert not [x for x in report.notes if "bought-in" in x]
    guessed = check_file(path, Choices(), []).report.notes
    assert [x.split(" checked")[0] for x in guessed if "bought-in" in x] == ["the other bodies are"]
    told = "foot: its largest flat face is small against the 20 mm through it: it is a block; knob: it has no flat face"
    assert why.endswith(f"Not a sheet part: {told}.")
