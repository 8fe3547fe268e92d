"""The JSON report: its keys are the contract, its schema holds for it, and it can be read back."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import reports

from lintsvc.model.finding import LimitShown, Quantity, Where
from lintsvc.model.report import Report
from lintsvc.reports.json_report import dumps, from_dict, schema, to_dict

VALIDATOR = jsonschema.Draft202012Validator(schema())


def undeclared(data: Any, definition: dict[str, Any], path: str = "") -> list[str]:
    """Return the keys of `data` that the schema does not name."""
    definitions = schema()["$defs"]
    while "$ref" in definition or "anyOf" in definition:
        options = definition.get("anyOf", [definition])
        refs = [x["$ref"] for x in options if "$ref" in x]
        if not refs:
            return []
        definition = definitions[refs[0].rsplit("/", 1)[1]]
    found: list[str] = []
    if isinstance(data, dict):
        for key, value in data.items():
            if key not in definition["properties"]:
                found.append(f"{path}.{key}")
            else:
                found += undeclared(value, definition["properties"][key], f"{path}.{key}")
    if isinstance(data, list) and "items" in definition:
        for number, value in enumerate(data):
            found += undeclared(value, definition["items"], f"{path}[{number}]")
    return found


def test_schema_is_a_valid_schema_of_2020_12() -> None:
    found = schema()
    jsonschema.Draft202012Validator.check_schema(found)
    assert found["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]


def test_report_holds_to_its_schema_and_has_no_key_beside_it() -> None:
    data = json.loads(dumps(reports.whole_report()))
    VALIDATOR.validate(data)
    assert undeclared(data, schema()) == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda part: part.pop("sha256"),
        lambda part: part["findings"][0].update(level="fatal"),
        lambda part: part["findings"][0].update(rank=101),
        lambda part: part["findings"][0]["limit"]["source"].update(kind="rumour"),
        lambda part: part["part"].pop("watertight"),
        lambda part: part["part"].update(size_mm=[1.0, 2.0]),
    ],
)
def test_schema_refuses_a_spoilt_report(spoil: Any) -> None:
    data = json.loads(dumps(reports.whole_report()))
    spoil(data["parts"][0])
    assert not VALIDATOR.is_valid(data)


def test_body_has_the_keys_of_the_contract() -> None:
    part = to_dict(reports.whole_report())["parts"][0]
    assert {
        "file",
        "sha256",
        "process",
        "material",
        "thickness",
        "part",
        "findings",
        "not_checked",
        "seconds",
    } <= part.keys()
    assert part["thickness"] is None
    assert "unreadable" not in part
    assert part["part"].keys() == {
        "kind",
        "units",
        "size_mm",
        "volume_mm3",
        "area_mm2",
        "mass_g",
        "triangles",
        "bodies",
        "watertight",
    }
    finding = part["findings"][0]
    assert {"fingerprint", "rule", "level", "rank", "message", "measured", "limit", "where", "remedy"} <= finding.keys()
    assert finding["measured"] == {"value": 0.62, "unit": "mm"}
    assert finding["limit"]["source"]["kind"] == "handbook"
    assert finding["where"]["faces"] == [0, 1]
    assert "entities" not in finding["where"]
    assert part["seconds"] == {"read": 0.01, "measure": 0.02, "rules": 0.03}
    assert part["not_checked"] == [{"rule": "powder-bed/too-big", "why": "no limit is known for this material"}]


def test_sheet_has_the_keys_of_the_contract() -> None:
    part = to_dict(reports.whole_report())["parts"][1]
    assert part["thickness"] == {"value": 2.5, "unit": "mm"}
    assert part["part"].keys() == {
        "kind",
        "units",
        "size_mm",
        "volume_mm3",
        "area_mm2",
        "mass_g",
        "thickness_mm",
        "flat_mm",
        "contours",
        "holes",
        "bends",
    }
    assert part["part"]["holes"] == [{"diameter_mm": 4.2, "centre_mm": [20.0, 30.0]}]
    assert part["part"]["bends"] == [{"angle_deg": 90.0, "direction": "up", "radius_mm": 2.5, "k_factor": None}]
    assert part["findings"][0]["where"]["entities"] == [1]


def test_unreadable_file_says_why_and_where() -> None:
    part = to_dict(reports.whole_report())["parts"][2]
    assert part["unreadable"]["why"] == "The file ends in the middle of a triangle."
    assert part["unreadable"]["where"] == "byte 133"
    assert part["part"] is None
    assert part["findings"] == []


def test_report_read_back_is_the_same_report() -> None:
    report = reports.whole_report()
    assert from_dict(json.loads(dumps(report))) == report


def test_what_is_no_report_is_refused() -> None:
    with pytest.raises(ValueError, match="parts"):
        from_dict({"schema": "1"})


def test_numpy_numbers_are_written_as_plain_numbers() -> None:
    point = tuple(np.array([1.0, 2.0, 3.0], dtype=np.float32))
    where = Where(point, (point, point), faces=tuple(np.array([3, 4], dtype=np.int32)))  # type: ignore[arg-type]
    finding = reports.thin_wall(where=where, measured=Quantity(np.float32(0.5), "mm"))  # type: ignore[arg-type]
    data = json.loads(dumps(Report((reports.housing_report(finding),))))
    assert data["parts"][0]["findings"][0]["where"]["faces"] == [3, 4]


def test_lone_surrogate_in_a_file_name_gives_valid_text() -> None:
    report = Report((reports.unreadable_report("bad\udcff.stl"),))
    dumps(report).encode("ascii")
    assert json.loads(dumps(report))["parts"][0]["file"] == "bad\\udcff.stl"


numbers = st.floats(allow_nan=True, allow_infinity=True)


@given(measured=numbers, limit=numbers, point=st.tuples(numbers, numbers, numbers), volume=numbers, text=st.text())
def test_no_number_and_no_text_breaks_the_report(
    measured: float, limit: float, point: tuple[float, float, float], volume: float, text: str
) -> None:
    finding = reports.thin_wall(
        message=text,
        measured=Quantity(measured, "mm"),
        limit=LimitShown(limit, "mm", reports.HANDBOOK),
        where=Where((1.0, 2.0, 3.0), ((1.0, 2.0, 3.0),) * 2, lines=((point, point),), span=(point, point)),
    )
    nowhere = reports.thin_wall(where=Where(point, (point, point)))
    entry = reports.housing_report(finding, nowhere)
    assert entry.part is not None
    entry = replace(entry, part=replace(entry.part, volume_mm3=volume))
    data = json.loads(dumps(Report((entry,))), parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    VALIDATOR.validate(data)
    assert (data["parts"][0]["findings"][0]["measured"] is None) == (not math.isfinite(measured))
